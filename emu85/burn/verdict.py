"""What a burn check comes to: checks with their results, and one verdict."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Result(enum.Enum):
    """How a check came out; ``mark`` stands before it on paper, so that no colour is needed."""

    GOOD = ("good", "+")
    LOOK = ("look at", "?")
    FAULT = ("fault", "X")
    ACCEPTED = ("accepted", "~")
    """Faults that are meant: the user has said so, or the rehearsal expects them."""
    NOT_CHECKED = ("not checked", "-")

    def __init__(self, word: str, mark: str) -> None:
        self.word = word
        self.mark = mark


@dataclass(frozen=True, slots=True)
class Note:
    """One thing that a check has found.

    Attributes:
        text: what, a sentence without a final full stop.
        address: where, or None.
        is_fault: False if a person should look at it, and no more.
        is_meant: whether what drives the run expects it, so that nobody need look.
    """

    text: str
    address: int | None = None
    is_fault: bool = True
    is_meant: bool = False


@dataclass(frozen=True, slots=True)
class PlacedNote:
    """A note with its place worked out.

    Attributes:
        at: the address in hexadecimal, empty for none.
        symbol: the nearest label at or before it, with the distance; may be empty.
        line: file and line of its source; may be empty.
    """

    text: str
    is_fault: bool
    is_meant: bool
    at: str = ""
    symbol: str = ""
    line: str = ""

    @property
    def result(self) -> Result:
        """What it comes to by itself."""
        if self.is_meant:
            return Result.ACCEPTED
        return Result.FAULT if self.is_fault else Result.LOOK

    @property
    def place(self) -> str:
        """``0043 WALK+3, slate.asm:61``."""
        return ", ".join(part for part in (f"{self.at} {self.symbol}".strip(), self.line) if part)


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check that has been made.

    Attributes:
        name: as ``--accept`` takes it.
        about: what it asks, in a few words.
        why: why it was not made; empty if it was.
    """

    name: str
    about: str
    result: Result
    notes: tuple[PlacedNote, ...] = ()
    why: str = ""


def result_of(notes: tuple[PlacedNote, ...]) -> Result:
    """How a check with these notes came out."""
    came = {note.result for note in notes}
    worst = (Result.FAULT, Result.LOOK, Result.ACCEPTED)
    return next((one for one in worst if one in came), Result.GOOD)
