"""Macro bodies: parameters replaced in text, arguments cut out of text.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapter 5 (value
from memory).  A parameter is replaced wherever it stands as a whole name outside
quotes; ``&`` joins it to its neighbours and is needed inside quotes.  An argument
in angle brackets may hold commas; ``%`` passes an expression's value; ``;;``
starts a comment that is left out of the expansion.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from emu85.errors import Place, UserError
from emu85.firmware.assembler.errors import Hopeless
from emu85.firmware.assembler.scanner import code_end
from emu85.firmware.assembler.statements import split
from emu85.firmware.image import SourceLine
from emu85.firmware.symbols import NAME_PATTERN, is_symbol_name

_LONGEST = 4096
"""Characters of an expanded line; arguments that double at every call would fill memory."""

_PIECE = re.compile(
    rf"(?P<string>'(?:[^']|'')*'?)|(?P<number>[0-9][0-9A-Za-z_?@$]*)|(?P<name>{NAME_PATTERN})"
    r"|(?P<join>&)|(?P<other>.)",
    re.DOTALL,
)
_QUOTED_NAME = re.compile(rf"&({NAME_PATTERN})&?")


@dataclass(frozen=True, slots=True)
class Body:
    """The lines between MACRO, REPT, IRP or IRPC and ENDM.

    Attributes:
        parameters: in capitals, in order.
        locals: names that become unique in each expansion, in capitals.
        lines: without the LOCAL lines.
    """

    parameters: tuple[str, ...]
    locals: tuple[str, ...]
    lines: tuple[SourceLine, ...]

    def expand(
        self, arguments: tuple[str, ...], unique: Callable[[], str]
    ) -> tuple[SourceLine, ...]:
        """The lines with parameters and local names replaced; missing arguments are empty."""
        padded = arguments + ("",) * (len(self.parameters) - len(arguments))
        values = dict(zip(self.parameters, padded, strict=True))
        values.update((name, unique()) for name in self.locals)
        return tuple(_expanded(line, values) for line in self.lines)


def _expanded(line: SourceLine, values: Mapping[str, str]) -> SourceLine:
    text = substitute(line.text, values)
    if len(text) > _LONGEST:
        raise Hopeless(
            f"a line of {len(text)} characters comes out of an expansion",
            Place(column=1),
            expected=f"at most {_LONGEST}",
        )
    return replace(line, text=text)


@dataclass(frozen=True, slots=True)
class Macro:
    """A macro as defined."""

    name: str
    body: Body
    place: Place


def make_body(parameters: tuple[str, ...], lines: tuple[SourceLine, ...]) -> Body:
    """A body of ``lines``, the LOCAL lines at its head taken in.

    Raises:
        UserError: a bad name after LOCAL; with its place.
    """
    names: list[str] = []
    kept: list[SourceLine] = []
    at_head = True
    for line in lines:
        statement = split(line.text)
        if at_head and statement.word == "LOCAL":
            try:
                names += read_names(line.text, statement.operand, statement.end)
            except UserError as error:
                raise error.at(Place(line.file, line.line, error.place.column), line.text) from None
            continue
        at_head = at_head and not statement.operation
        kept.append(line)
    return Body(parameters, tuple(names), tuple(kept))


def read_names(text: str, start: int, end: int) -> tuple[str, ...]:
    """Names between commas, in capitals.

    Raises:
        UserError: one is not a name or comes twice; with the column.
    """
    if not text[start:end].strip():
        return ()
    names: list[str] = []
    for piece in text[start:end].split(","):
        name = piece.strip()
        column = start + len(piece) - len(piece.lstrip()) + 1
        start += len(piece) + 1
        if not is_symbol_name(name):
            raise UserError(
                f"{name!r} is not a parameter name" if name else "a parameter name is missing",
                Place(column=column),
                expected="names separated by commas",
            )
        if name.upper() in names:
            raise UserError(
                f"the parameter {name} comes twice",
                Place(column=column),
                expected="different names",
            )
        names.append(name.upper())
    return tuple(names)


def substitute(text: str, values: Mapping[str, str]) -> str:
    """``text`` with the names in ``values`` (capitals) replaced; comments are left alone."""
    end = code_end(text)
    pieces = [(m.lastgroup, m.group()) for m in _PIECE.finditer(text, 0, end)]
    replaced = [kind == "name" and piece.upper() in values for kind, piece in pieces]
    out: list[str] = []
    for index, (kind, piece) in enumerate(pieces):
        if replaced[index]:
            out.append(values[piece.upper()])
        elif kind == "string":
            out.append(_in_quotes(piece, values))
        elif kind != "join" or not any(replaced[max(0, index - 1) : index + 2]):
            out.append(piece)
    comment = text[end:]
    return "".join(out).rstrip() if comment.startswith(";;") else "".join(out) + comment


def _in_quotes(text: str, values: Mapping[str, str]) -> str:
    def value(match: re.Match[str]) -> str:
        return values.get(match.group(1).upper(), match.group())

    return _QUOTED_NAME.sub(value, text)


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a macro call; ``column`` counts from 1."""

    text: str
    column: int
    by_value: bool = False


def read_arguments(text: str, start: int, end: int) -> tuple[Argument, ...]:
    """Arguments between commas; quotes and angle brackets protect commas in them.

    Raises:
        UserError: an angle bracket without its partner; with the column.
    """
    if not text[start:end].strip():
        return ()
    return tuple(_argument(text, low, high) for low, high in _pieces(text, start, end))


def _pieces(text: str, start: int, end: int) -> list[tuple[int, int]]:
    pieces: list[tuple[int, int]] = []
    opened: list[int] = []
    quoted = False
    for index in range(start, end):
        character = text[index]
        if character == "'":
            quoted = not quoted
        elif quoted:
            continue
        elif character == "<":
            opened.append(index)
        elif character == ">":
            if not opened:
                raise _unpaired(">", index, "'<' before it")
            opened.pop()
        elif character == "," and not opened:
            pieces.append((start, index))
            start = index + 1
    if opened:
        raise _unpaired("<", opened[-1], "'>' after it")
    return [*pieces, (start, end)]


def _argument(text: str, low: int, high: int) -> Argument:
    piece = text[low:high]
    column = low + len(piece) - len(piece.lstrip()) + 1
    piece = piece.strip()
    if piece.startswith("%"):
        return Argument(piece[1:], column + 1, by_value=True)
    if piece.startswith("<") and piece.endswith(">"):
        return Argument(piece[1:-1], column + 1)
    return Argument(piece, column)


def _unpaired(bracket: str, index: int, expected: str) -> UserError:
    return UserError(f"'{bracket}' has no partner", Place(column=index + 1), expected=expected)
