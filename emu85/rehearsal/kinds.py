"""The kinds of value that only a rehearsal's own lines have."""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from emu85.bus.lines import BY_NAME, NAMES, Line
from emu85.console.kinds import Context, Duration, Kind, Name, Named, Number
from emu85.console.slots import FLAGS, KINDS, PAIRS, SINGLES
from emu85.console.tokens import Token
from emu85.errors import Place, UserError, nearest
from emu85.rehearsal.patterns import Pattern, read_pattern
from emu85.stops.numbers import read_number
from emu85.stops.numbers import read_pattern as read_masked

_QUOTES = "\"'"


class Says(enum.Enum):
    """How much a pattern says."""

    NOTHING = enum.auto()
    """It may be empty."""
    SOMETHING = enum.auto()
    """It is not empty."""
    A_CHARACTER = enum.auto()
    """What has no characters does not meet it."""


@dataclass(frozen=True)
class StageContext(Context):
    """What the lines of a rehearsal may know: its marks, beside what the console knows.

    Attributes:
        marks: names of moments.
    """

    marks: Sequence[str] = ()


@dataclass(frozen=True)
class Text(Kind):
    """A pattern in quotes.

    Attributes:
        most: the highest character code that can be met.
        least: how much it has to say at least.
    """

    wants: str = 'a text in quotes, such as "ready*"'
    most: int = 0xFF
    least: Says = Says.SOMETHING

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Pattern, int]:
        first = tokens[0]
        if first.raw[:1] not in _QUOTES:
            raise UserError(f"{first.text!r} stands in no quotes", expected=self.wants)
        try:
            pattern = read_pattern(first.text)
        except UserError as error:
            raise error.at(Place(column=first.column + error.place.column)) from None
        self._check_says(pattern)
        for element in pattern.elements:
            if element is not None and element > self.most:
                raise UserError(
                    f"{chr(element)!r} is no character of one byte", expected=r"a \x escape"
                )
        return pattern, 1

    def _check_says(self, pattern: Pattern) -> None:
        """Refuse a text that would be no expectation.

        Raises:
            UserError: it says less than it has to.
        """
        if self.least is Says.NOTHING or pattern.elements:
            return
        if not pattern.text:
            raise UserError("there is nothing between these quotes", expected=self.wants)
        if self.least is Says.A_CHARACTER:
            raise UserError(
                "a * alone is met before anything has come", expected=f'{self.wants}, or "?"'
            )


class Value(NamedTuple):
    """A register, a pair or a flag, and the value it should have."""

    name: str
    value: int

    @property
    def text(self) -> str:
        """As it is written."""
        return value_text(self.name, self.value)


def value_text(name: str, value: int) -> str:
    """A register, pair or flag with its value, as ``see`` takes it."""
    if name in FLAGS:
        return f"{name} {value}"
    return f"{name} {value:0{4 if name in PAIRS else 2}X}"


@dataclass(frozen=True)
class Values(Kind):
    """A register, a pair or a flag, and then its value."""

    wants: str = "a register, pair or flag and its value, such as HL 8004"

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Value, int]:
        names = {**PAIRS, **SINGLES, **FLAGS}
        # S is the sign flag; no register has that name, and P is parity.
        name = next((n for n in names if n.casefold() == tokens[0].folded), None)
        if name is None:
            raise UserError(
                f"{tokens[0].text!r} is no register or flag",
                expected=f"one of {', '.join(names)}",
                nearest=nearest(tokens[0].text, names),
            )
        if len(tokens) == 1:
            end = tokens[0].column + len(tokens[0].text)
            raise UserError(f"{name} has no value", Place(column=end), expected=self.wants)
        try:
            return Value(name, int(_value_kind(name).read(tokens[1].text, context))), 2
        except UserError as error:
            raise error.at(Place(column=tokens[1].column)) from None


def _value_kind(name: str) -> Kind:
    if name in FLAGS:
        return KINDS["LEVEL"]
    return KINDS["VALUE" if name in PAIRS else "BYTE"]


class ByteMask(NamedTuple):
    """A byte some of whose digits may be anything."""

    mask: int
    value: int

    def __str__(self) -> str:
        if {self.mask >> 4, self.mask & 0xF} <= {0, 0xF}:
            digits = zip(f"{self.value:02X}", f"{self.mask:02X}", strict=True)
            return "".join("x" if known == "0" else digit for digit, known in digits)
        bits = zip(f"{self.value:08b}", f"{self.mask:08b}", strict=True)
        return "".join("x" if known == "0" else bit for bit, known in bits) + "B"

    def meets(self, byte: int) -> bool:
        """Whether a byte is as this says."""
        return byte & self.mask == self.value


@dataclass(frozen=True)
class Masked(Kind):
    """A byte, where an ``x`` stands for any hexadecimal digit, as in a stop's ``data 3x``."""

    wants: str = "a byte (00 to FF), x for any digit"

    def read(self, text: str, context: Context) -> ByteMask:
        value = read_number(text, 2)
        found = read_masked(text, 2) if value is None else (0xFF, value)
        if found is None or found[1] > 0xFF:
            raise UserError(f"{text!r} is no byte", expected=self.wants)
        return ByteMask(*found)


@dataclass(frozen=True)
class CpuLine(Kind):
    """A line of the CPU by its name, whose blank may be left out."""

    wants: str = f"a line: {', '.join(NAMES.values())}"

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Line, int]:
        for taken in (2, 1):
            name = " ".join(token.folded for token in tokens[:taken])
            if len(tokens) >= taken and name in BY_NAME:
                return BY_NAME[name], taken
        raise UserError(
            f"{tokens[0].text!r} is no line",
            expected=self.wants,
            nearest=nearest(tokens[0].text, NAMES.values()),
        )


def _marks(context: Context) -> Sequence[str]:
    return context.marks if isinstance(context, StageContext) else ()


_TIMES = dict.fromkeys(("SPAN", "LEAST", "MOST"), Duration("a time such as 2 ms or 5000 T"))

STAGE_KINDS: Mapping[str, Kind] = {
    **KINDS,
    **_TIMES,
    "ANYDEVICE": Named("a device", lambda c: c.devices, "this board has no devices"),
    "BYTES": Masked(),
    "FINDING": Text('a finding in quotes, such as "write to ROM at 0012"'),
    "LATER": Named("a mark", _marks, "there are no marks"),
    "LINE": CpuLine(),
    "MARK": Named("a mark", _marks, "there are no marks"),
    "NEW": Name("a name"),
    "PATTERN": Text(least=Says.A_CHARACTER),
    "ROW": Text('a line in quotes, such as "*STA LEVEL"', most=0x10FFFF),
    "STATE": Text(most=0x10FFFF, least=Says.NOTHING),
    "STOP": Number("the number of a stop (decimal)", 10, 1, 1_000_000_000),
    "T": Number("a T-state (decimal)", 10, 0, (1 << 53) - 1),
    "VALUES": Values(),
}
"""By the name that stands in a form's usage: the console's, and those of a rehearsal."""
