"""Cuts an operand field into tokens.

Source for the number and string forms: Intel 8080/8085 Assembly Language
Programming Manual, chapter 2, "Operand field" (value from memory).
"""

from __future__ import annotations

import enum
import re
from dataclasses import dataclass

from emu85.errors import Place, UserError
from emu85.firmware.symbols import NAME_PATTERN


class Kind(enum.Enum):
    """What a token is."""

    NAME = "name"
    NUMBER = "number"
    STRING = "string"
    MARK = "mark"
    """One of ``$ , ( ) + - * /``."""
    END = "end"


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of an operand field.

    Attributes:
        text: names and marks as written, strings without their quotes.
        value: of a number, 0 to FFFF.
        column: where it begins, from 1.
    """

    kind: Kind
    text: str
    column: int
    value: int = 0

    @property
    def word(self) -> str:
        """The text of a name in capitals or of a mark; ``""`` for anything else."""
        return self.text.upper() if self.kind in (Kind.NAME, Kind.MARK) else ""


_TOKEN = re.compile(
    rf"""
    (?P<space>[ \t\r\f\v]+)
    | (?P<string>'(?:[^']|'')*')
    | (?P<number>[0-9][0-9A-Za-z_?@$]*)
    | (?P<name>{NAME_PATTERN})
    | (?P<mark>[$,()+\-*/])
    """,
    re.VERBOSE,
)
_NUMBER = re.compile(r"([0-9A-F]+)H|([0-7]+)[OQ]|([01]+)B|([0-9]+)D?")
_BASES = (16, 8, 2, 10)
_MOST_DIGITS = 16
"""Significant digits of FFFF in the smallest base."""

NUMBER_FORMS = "a number such as 0FFH, 377Q, 1010B or 99"


def code_end(line: str) -> int:
    """Index of the semicolon that starts the comment, or the length of the line.

    A semicolon in quotes starts none; a quote that is never closed runs to the
    end of the line.
    """
    quoted = False
    for index, character in enumerate(line):
        if character == "'":
            quoted = not quoted
        elif character == ";" and not quoted:
            return index
    return len(line)


def scan(line: str, start: int = 0) -> tuple[Token, ...]:
    """The tokens of ``line`` from index ``start`` up to the comment, then one END.

    Raises:
        UserError: a string without its closing quote, a character that has no
            meaning there, a number that is none or exceeds FFFF; with the column.
    """
    end = code_end(line)
    stop = len(line[:end].rstrip())
    tokens: list[Token] = []
    while start < stop:
        match = _TOKEN.match(line, start, end)
        if match is None:
            raise _no_token(line[start], start + 1)
        start = match.end()
        token = _token(match)
        if token is not None:
            tokens.append(token)
    return (*tokens, Token(Kind.END, "", stop + 1))


def _token(match: re.Match[str]) -> Token | None:
    text, column = match.group(), match.start() + 1
    if match.lastgroup == "space":
        return None
    if match.lastgroup == "string":
        return Token(Kind.STRING, text[1:-1].replace("''", "'"), column)
    if match.lastgroup == "number":
        return Token(Kind.NUMBER, text, column, number_value(text, column))
    return Token(Kind.NAME if match.lastgroup == "name" else Kind.MARK, text, column)


def number_value(text: str, column: int) -> int:
    """The value of a number in one of Intel's forms; ``$`` between digits is passed over.

    Raises:
        UserError: not a number, or more than FFFF.
    """
    match = _NUMBER.fullmatch(text.upper().replace("$", ""))
    if match is None:
        raise UserError(
            f"{text!r} is not a number", Place(column=column), expected=_number_hint(text)
        )
    digits, base = next(
        (group, base) for group, base in zip(match.groups(), _BASES, strict=True) if group
    )
    significant = digits.lstrip("0") or "0"
    value = int(significant, base) if len(significant) <= _MOST_DIGITS else 0x10000
    if value > 0xFFFF:
        raise UserError(
            f"{text} does not fit in 16 bits", Place(column=column), expected="0 to 0FFFFH"
        )
    return value


def _number_hint(text: str) -> str:
    if re.fullmatch(r"[0-9A-F]+", text.upper()):
        return f"{NUMBER_FORMS}; hex digits end with H"
    return NUMBER_FORMS


def _no_token(character: str, column: int) -> UserError:
    place = Place(column=column)
    if character == "'":
        return UserError("the string is not closed", place, expected="a second quote")
    if character == '"':
        return UserError("a double quote starts nothing", place, expected="a single quote")
    return UserError(
        f"the character {character!r} has no meaning here",
        place,
        expected="a name, a number, a quoted string or an operator",
    )
