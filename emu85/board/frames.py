"""Characters on an asynchronous wire: framing, levels, and what the levels mean.

Framing as in EIA-232 practice: a start bit (space), data bits lowest first, an
optional parity bit, stop bits (mark).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from emu85.board.schedule import Moment

MARK = 1
SPACE = 0


class Frame(NamedTuple):
    """The waveform of one character.

    Attributes:
        start: when its start bit begins, in T-states.
        bit_time: length of a bit in T-states.
        levels: 1 mark, 0 space, from the start bit on, one a bit time; the wire is
            at mark before and after.
    """

    start: Moment
    bit_time: Fraction
    levels: tuple[int, ...]

    @property
    def end(self) -> Moment:
        """The end of the last of ``levels``."""
        return self.start + len(self.levels) * self.bit_time


def sample(frame: Frame, at: Moment) -> int:
    """The level of a frame at a moment; mark outside it."""
    number = (at - frame.start) // frame.bit_time
    return frame.levels[number] if 0 <= number < len(frame.levels) else MARK


@dataclass(frozen=True, slots=True)
class Framing:
    """What stands between start and stop of a character.

    Attributes:
        bits: data bits, 5 to 8.
        parity: ``N E O M S``: none, even, odd, mark, space.
        stop: stop bits: 1, 1.5 or 2.
    """

    bits: int = 8
    parity: str = "N"
    stop: Fraction = Fraction(1)

    @property
    def sampled(self) -> int:
        """Bits a receiver looks at: start, data, parity and the first stop bit."""
        return 2 + self.bits + (self.parity != "N")

    @property
    def length(self) -> Fraction:
        """Start bit to end of the stop bits, in bits."""
        return self.sampled - 1 + self.stop

    def parity_of(self, ones: int) -> int:
        """The level of the parity bit over data with so many ones; mark if there is none."""
        return {"E": ones % 2, "O": 1 - ones % 2, "S": SPACE}.get(self.parity, MARK)


def levels_of(framing: Framing, value: int) -> tuple[int, ...]:
    """The levels of a character: start, data, parity and one stop bit.

    The wire is at mark after them, so further stop bits need no levels of their
    own; whoever sends the next character waits for :attr:`Framing.length`.
    """
    data = [value >> bit & 1 for bit in range(framing.bits)]
    parity = [] if framing.parity == "N" else [framing.parity_of(sum(data))]
    return (SPACE, *data, *parity, MARK)


class Arrival(NamedTuple):
    """A character from the board.

    Attributes:
        start_t: T-state at which its start bit began.
        t: T-state at which its stop bit was sampled.
        value: data bits as read.
        fault: empty, ``framing`` (stop bit was space), ``parity``, or ``break``
            (every bit was space, the stop bit too).
    """

    start_t: int
    t: int
    value: int
    fault: str


def meaning_of(framing: Framing, levels: tuple[int, ...]) -> tuple[int, str]:
    """The value and the fault of a character by its samples."""
    data = levels[1 : 1 + framing.bits]
    value = sum(level << bit for bit, level in enumerate(data))
    if levels[-1] == SPACE:
        return value, "framing" if any(levels) else "break"
    if framing.parity != "N" and levels[-2] != framing.parity_of(sum(data)):
        return value, "parity"
    return value, ""
