"""Levels over time: from a list or from comma-separated text.

The text has a row a level.  A heading row names its columns: one may be a time
(``seconds``, ``t``, ``time``, or one of these with a unit, as ``time (ms)``), one is the
level (``level`` or ``value``, else the last); others are passed over.  Without a heading
one column is levels, and of several the first is seconds and the last the level.  A first
row is a heading if each of its cells begins with a letter and none is a number.  Levels
are bytes as board files write them, in hexadecimal unless a suffix says otherwise; times
are decimal, or carry their unit (``20 ms``), and never go back.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple, Protocol

from emu85.board.quantities import hexadecimal, seconds
from emu85.board.recording import MOST_STEPS
from emu85.errors import Place, UserError
from emu85.firmware.files import read_bytes

_TIME = re.compile(r"(?:(?:time|t)\b)?\W*(?:(seconds?|s|ms|us|ns)\b)?\W*", re.I | re.A)
_LIKE_TIME = re.compile(r"(?:time|t)\b", re.I | re.A)
_LEVEL_NAMES = ("level", "value")
_UNIT_OF = {"seconds": "s", "second": "s"}


class Levels(Protocol):
    """Levels that follow one another."""

    def at(self, t: int) -> int:
        """The level at a T-state."""


@dataclass(frozen=True, slots=True)
class Even:
    """Levels that last equally long, from T-state 0 on.

    Attributes:
        every: how long, exact, in T-states.
        again: whether they start over; else the last one stays.
    """

    levels: tuple[int, ...]
    every: Fraction
    again: bool

    def at(self, t: int) -> int:
        """The level at a T-state; a level begins at the T-state nearest to its moment."""
        number = -int(-(t + Fraction(1, 2)) // self.every) - 1
        if self.again:
            return self.levels[number % len(self.levels)]
        return self.levels[min(number, len(self.levels) - 1)]


@dataclass(frozen=True, slots=True)
class Timed:
    """Levels that begin at moments of their own; the first is there from the start.

    Attributes:
        moments: exact, in T-states, never falling.
        last: how long the last level lasts before all start over, in T-states.
        again: whether they do; else the last one stays.
    """

    levels: tuple[int, ...]
    moments: tuple[Fraction, ...]
    last: Fraction
    again: bool

    def at(self, t: int) -> int:
        """The level at a T-state; a level begins at the T-state nearest to its moment."""
        moment = t + Fraction(1, 2)
        if self.again:
            length = self.moments[-1] + self.last
            moment = moment % length or length
        return self.levels[max(0, bisect_left(self.moments, moment) - 1)]


@dataclass(frozen=True, slots=True)
class LevelFile:
    """What a file says: bytes and, if it has times, the moment of each in seconds."""

    levels: tuple[int, ...]
    moments: tuple[Fraction, ...] | None


class _Cell(NamedTuple):
    text: str
    place: Place
    source: str

    def wrong(self, error: UserError) -> UserError:
        return error.at(self.place, self.source)


class _Columns(NamedTuple):
    """How many a row has, and which are what; ``time`` is None if there is none."""

    width: int
    time: int | None
    unit: str
    level: int


def read_levels(path: Path) -> LevelFile:
    """Read a file of levels.

    Raises:
        UserError: the file cannot be read, is no such text, or has no levels; with line
            and column where there is one.
    """
    try:
        text = read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UserError(f"the levels in {path.name} are not UTF-8 text") from None
    except UserError as error:
        raise UserError(f"the levels in {path.name} cannot be read: {error.message}") from None
    rows = [_cells(path, n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(rows) > MOST_STEPS:
        raise UserError(f"{path.name} has too many levels", expected=f"at most {MOST_STEPS}")
    columns = _columns(rows[0]) if rows else None
    if rows and _is_heading(rows[0]):
        del rows[0]
    if not rows or columns is None:
        raise UserError(f"{path.name} has no levels", expected="a byte on each line")
    return _level_file(rows, columns)


def _cells(path: Path, number: int, line: str) -> list[_Cell]:
    """The cells of a line, quotes and blanks around each left out."""
    cells, start = [], 0
    for part in line.split(","):
        text = part.strip().strip('"').strip()
        column = start + (len(part) - len(part.lstrip())) + 1
        cells.append(_Cell(text, Place(str(path), number, column), line))
        start += len(part) + 1
    return cells


def _is_heading(cells: Sequence[_Cell]) -> bool:
    return all(cell.text[:1].isalpha() and not _is_number(cell.text) for cell in cells)


def _is_number(text: str) -> bool:
    try:
        hexadecimal(text, 0xFF)
    except UserError as error:
        return "too large" in error.message
    return True


def _columns(first: Sequence[_Cell]) -> _Columns:
    width = len(first)
    if not _is_heading(first):
        return _Columns(width, 0 if width > 1 else None, "s", width - 1)
    names = [cell.text.casefold() for cell in first]
    times = [(n, found) for n, name in enumerate(names) if (found := _TIME.fullmatch(name))]
    levels = [n for n, name in enumerate(names) if name in _LEVEL_NAMES]
    time, found = times[0] if times else (None, None)
    _refuse_other_units(first, time)
    if not levels and (width > 1 or time is not None):
        raise first[-1].wrong(
            UserError(
                "none of the columns is one of levels",
                expected="a column named 'level' or 'value', of bytes",
            )
        )
    level = levels[0] if levels else 0
    unit = (found[1] if found else None) or "s"
    return _Columns(width, time, _UNIT_OF.get(unit, unit), level)


def _refuse_other_units(first: Sequence[_Cell], time: int | None) -> None:
    """Refuse a column of times whose unit is none of ours: it would pass for no time at all."""
    for cell in first if time is None else ():
        if _LIKE_TIME.match(cell.text):
            raise cell.wrong(
                UserError(f"no unit of {cell.text!r} is known", expected="time in s, ms, us or ns")
            )


def _level_file(rows: Sequence[Sequence[_Cell]], columns: _Columns) -> LevelFile:
    levels: list[int] = []
    moments: list[Fraction] = []
    for row in rows:
        if len(row) != columns.width:
            raise row[-1].wrong(
                UserError(
                    f"the row has {len(row)} cells and the first {columns.width}",
                    expected="as many as in the first",
                )
            )
        levels.append(_level(row[columns.level]))
        if columns.time is not None:
            moments.append(_moment(row[columns.time], columns.unit, moments))
    return LevelFile(tuple(levels), None if columns.time is None else tuple(moments))


def _level(cell: _Cell) -> int:
    try:
        return hexadecimal(cell.text, 0xFF)
    except UserError as error:
        raise cell.wrong(error) from None


def _moment(cell: _Cell, unit: str, before: Sequence[Fraction]) -> Fraction:
    try:
        moment = seconds(cell.text, unit)
        if before and moment < before[-1]:
            raise UserError("the time is before that of the row above", expected="rising times")
    except UserError as error:
        raise cell.wrong(error) from None
    return moment


def in_t_states(file: LevelFile, clock: Fraction, every: Fraction, *, again: bool) -> Levels:
    """The levels of a file on a board.

    Args:
        clock: T-states a second.
        every: how long a level without a time lasts, and the last with one; T-states.
        again: whether they start over.
    """
    if file.moments is None:
        return Even(file.levels, every, again)
    moments = tuple(moment * clock for moment in file.moments)
    return Timed(file.levels, moments, every, again)
