"""Symbols and the file they are kept in.

The format is our own and plain: a line a symbol, ``NAME<TAB>HEX``, with ``;``
starting a comment and blank lines passed over.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Mapping
from dataclasses import dataclass

from emu85.errors import Place, UserError

NAME_PATTERN = r"[A-Za-z_?@][A-Za-z0-9_?@$]*"
_NAME = re.compile(NAME_PATTERN)
_HEX = re.compile(r"[0-9A-Fa-f]{1,4}")
_ENTRY = re.compile(r"[ \t]*(\S+)(?:[ \t]+(\S+))?[ \t]*(\S.*)?")


class SymbolKind(enum.Enum):
    """How a name got its value."""

    LABEL = "label"
    EQU = "equ"
    SET = "set"


@dataclass(frozen=True, slots=True)
class Symbol:
    """A name, spelled as where it was first defined, and its 16-bit value."""

    name: str
    value: int
    kind: SymbolKind
    place: Place


def is_symbol_name(name: str) -> bool:
    """Letters, digits, ``_ ? @ $``; the first neither a digit nor ``$``."""
    return _NAME.fullmatch(name) is not None


def write_symbols(symbols: Mapping[str, int]) -> str:
    """The text of a symbol file, in the order of ``symbols``."""
    return "".join(f"{name}\t{value:04X}\n" for name, value in symbols.items())


def read_symbols(text: str, file: str = "") -> dict[str, int]:
    """Values by name from the text of a symbol file, in its order.

    Raises:
        UserError: a line that is not a name and a value, or a name given twice
            (names are compared without regard to case).
    """
    symbols: dict[str, int] = {}
    seen: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        try:
            entry = _entry(line)
            if entry is None:
                continue
            name, value = entry
            _refuse_second(name, line, seen)
        except UserError as error:
            raise error.at(Place(file, number, error.place.column), line) from None
        seen[name.upper()] = number
        symbols[name] = value
    return symbols


def _entry(line: str) -> tuple[str, int] | None:
    match = _ENTRY.match(line.split(";", 1)[0].rstrip())
    if match is None:
        return None
    name, value, rest = match.groups()
    if not is_symbol_name(name):
        raise UserError(
            f"{name!r} is not a symbol name",
            Place(column=match.start(1) + 1),
            expected="letters, digits, _ ? @ $, not starting with a digit or $",
        )
    if value is None:
        raise UserError(
            f"{name} has no value", Place(column=match.end(1) + 1), expected="a tab and hex digits"
        )
    if _HEX.fullmatch(value) is None:
        raise UserError(
            f"{value!r} is not a value",
            Place(column=match.start(2) + 1),
            expected="one to four hex digits",
        )
    if rest:
        raise UserError(
            "more than a name and a value", Place(column=match.start(3) + 1), expected="a new line"
        )
    return name, int(value, 16)


def _refuse_second(name: str, line: str, seen: Mapping[str, int]) -> None:
    if name.upper() in seen:
        raise UserError(
            f"{name} already has a value from line {seen[name.upper()]}",
            Place(column=line.index(name) + 1),
            expected="each name once",
        )
