"""Symbols and the file they are kept in.

The format is our own and plain: a line a symbol, ``NAME<TAB>HEX``, and a further
``<TAB>equ`` for a name that stands for a value and not for a place in memory;
``;`` starts a comment, and blank lines are passed over.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from emu85.errors import Place, UserError

NAME_PATTERN = r"[A-Za-z_?@][A-Za-z0-9_?@$]*"
_NAME = re.compile(NAME_PATTERN)
_HEX = re.compile(r"[0-9A-Fa-f]{1,4}")
_EQUATED = "equ"
_ENTRY = re.compile(rf"[ \t]*(\S+)(?:[ \t]+(\S+))?(?:[ \t]+({_EQUATED}))?[ \t]*(\S.*)?", re.I)


class SymbolKind(enum.Enum):
    """How a name got its value."""

    LABEL = "label"
    EQU = "equ"
    SET = "set"


@dataclass(frozen=True, slots=True)
class Symbol:
    """A name, spelled as where it was first defined, and its 16-bit value.

    ``negative``: the value stands for that number less 10000H.
    """

    name: str
    value: int
    kind: SymbolKind
    place: Place
    negative: bool = False

    @property
    def signed(self) -> int:
        """The number that the value stands for."""
        return self.value - 0x10000 if self.negative else self.value


def is_symbol_name(name: str) -> bool:
    """Letters, digits, ``_ ? @ $``; the first neither a digit nor ``$``."""
    return _NAME.fullmatch(name) is not None


@dataclass(frozen=True, slots=True)
class Names:
    """What a symbol file holds.

    Attributes:
        values: by name, in the file's order.
        equated: the names that stand for a value and not for a place.
    """

    values: dict[str, int] = field(default_factory=dict)
    equated: frozenset[str] = frozenset()


def write_symbols(symbols: Mapping[str, int], equated: Collection[str] = ()) -> str:
    """The text of a symbol file, in the order of ``symbols``.

    Args:
        equated: those names that stand for a value and not for a place.
    """
    return "".join(
        f"{name}\t{value:04X}" + (f"\t{_EQUATED}\n" if name in equated else "\n")
        for name, value in symbols.items()
    )


def read_symbols(text: str, file: str = "") -> dict[str, int]:
    """Values by name from the text of a symbol file, as :func:`read_names` does."""
    return read_names(text, file).values


def read_names(text: str, file: str = "") -> Names:
    """The names in the text of a symbol file.

    Raises:
        UserError: a line that is not a name and a value, or a name given twice
            (names are compared without regard to case).
    """
    symbols: dict[str, int] = {}
    equated: set[str] = set()
    seen: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        try:
            entry = _entry(line)
            if entry is None:
                continue
            name, value, is_equated = entry
            _refuse_second(name, line, seen)
        except UserError as error:
            raise error.at(Place(file, number, error.place.column), line) from None
        seen[name.upper()] = number
        symbols[name] = value
        if is_equated:
            equated.add(name)
    return Names(symbols, frozenset(equated))


def _entry(line: str) -> tuple[str, int, bool] | None:
    match = _ENTRY.match(line.split(";", 1)[0].rstrip())
    if match is None:
        return None
    name, value, kind, rest = match.groups()
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
            "more than a name and a value",
            Place(column=match.start(4) + 1),
            expected=f"a new line, or {_EQUATED} for a name that is no place",
        )
    return name, int(value, 16), kind is not None


def _refuse_second(name: str, line: str, seen: Mapping[str, int]) -> None:
    if name.upper() in seen:
        raise UserError(
            f"{name} already has a value from line {seen[name.upper()]}",
            Place(column=line.index(name) + 1),
            expected="each name once",
        )
