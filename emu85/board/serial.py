"""The serial line on SID and SOD, seen from the far end of the wire.

Software on the 8085 makes and reads the bits by counting T-states, so both
directions are judged at exact moments.  A bit lasts ``clock / baud`` T-states,
which need not be whole: every edge and every sample is computed from the start
of its character as a fraction and then rounded to the nearest T-state, so that
the error never exceeds half a T-state and never adds up.

Towards the board (SID), queued characters follow one another without a pause
unless a gap is set.  From the board (SOD), a character begins when the line
goes from mark to space; the start bit is looked at again in its middle, and all
further bits in theirs.  SOD is 0 after reset, which is space on a line of normal
polarity: since no mark has been seen, nothing is received until the firmware
raises it.

Framing as in EIA-232 practice: a start bit (space), data bits lowest first,
an optional parity bit, stop bits (mark).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from emu85.board.baud_check import BaudCheck
from emu85.board.description import SerialFormat
from emu85.board.schedule import Event, Schedule

MARK = 1
SPACE = 0


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


class SerialLine:
    """A terminal's end of the line on SID and SOD.

    Attributes:
        format: speed and framing.
        bit_time: length of a bit in T-states, exact.
        received: the good characters that have arrived, in order.
        arrivals: every character that has arrived, faulty ones too.
        framing_errors, parity_errors, breaks: how many of each arrived.
        listeners: each is called with every good character as it arrives.
        baud_check: how long the sender's bits really are.
    """

    def __init__(
        self, format_: SerialFormat, clock: Fraction, drive: Callable[[int], None]
    ) -> None:
        """``clock`` is in hertz; ``drive(level)`` puts SID at 0 or 1."""
        self.format = format_
        self.bit_time = clock / format_.baud
        self.received = bytearray()
        self.arrivals: list[Arrival] = []
        self.framing_errors = 0
        self.parity_errors = 0
        self.breaks = 0
        self.listeners: list[Callable[[int], None]] = []
        self.baud_check = BaudCheck(format_, self.bit_time)
        self._gap = format_.gap * clock
        self._drive = drive
        self._schedule = Schedule()
        self._parity_bits = 0 if format_.parity == "N" else 1
        self._queue: deque[int] = deque()
        self._free_at = Fraction(0)
        self._sending: Event | None = None
        self._level = SPACE
        self._seen_mark = False
        self._receiving = False
        self._sample_event: Event | None = None
        self._start_t = 0
        self._samples: list[int] = []

    @property
    def character_time(self) -> Fraction:
        """Start bit to end of the stop bits, in T-states."""
        return self.bit_time * (1 + self.format.bits + self._parity_bits + self.format.stop)

    @property
    def pending(self) -> int:
        """Characters queued and not yet begun."""
        return len(self._queue)

    @property
    def idle(self) -> bool:
        """Nothing is being sent or waiting to be."""
        return not self._queue and self._sending is None

    def power(self, schedule: Schedule) -> None:
        """Start afresh on a schedule: SID at mark, SOD low, nothing queued or received."""
        for event in (self._sending, self._sample_event):
            if event:
                event.cancel()
        self._schedule = schedule
        self._queue.clear()
        self._sending = self._sample_event = None
        self._free_at = Fraction(schedule.now)
        self.received.clear()
        self.arrivals.clear()
        self.framing_errors = self.parity_errors = self.breaks = 0
        self._receiving = False
        self.baud_check.clear()
        self._level = self._as_mark(0)
        self._seen_mark = self._level == MARK
        self._put(MARK)

    # --- towards the board --------------------------------------------------

    def send(self, data: bytes) -> None:
        """Queue characters for SID, the first to begin at once if the line is free."""
        self._queue.extend(data)
        if self._sending is None and self._queue:
            self._follow(max(Fraction(self._schedule.now), self._free_at))

    def _next_character(self) -> None:
        self._sending = None
        if self._queue:
            # The exact moment, not ``now``, which is rounded: or the rounding adds up.
            self._follow(self._free_at)

    def _follow(self, start: Fraction) -> None:
        self._free_at = start + self.character_time + self._gap
        self._sending = self._schedule.at(nearest_t(start), lambda: self._begin(start))

    def _begin(self, start: Fraction) -> None:
        # Bits that repeat the level before them need no event of their own.
        levels = self._bits(self._queue.popleft())
        changes = [
            (start + number * self.bit_time, level)
            for number, level in enumerate(levels)
            if number == 0 or level != levels[number - 1]
        ]
        self._walk(deque(changes))

    def _walk(self, changes: deque[tuple[Fraction, int]]) -> None:
        self._put(changes.popleft()[1])
        if changes:
            at = nearest_t(changes[0][0])
            self._sending = self._schedule.at(at, lambda: self._walk(changes))
            return
        self._sending = self._schedule.at(nearest_t(self._free_at), self._next_character)

    def _bits(self, value: int) -> list[int]:
        data = [value >> bit & 1 for bit in range(self.format.bits)]
        return [SPACE, *data, *self._parity_of(data), MARK]

    def _parity_of(self, data: list[int]) -> list[int]:
        odd = sum(data) % 2
        return {"N": [], "E": [odd], "O": [1 - odd], "M": [MARK], "S": [SPACE]}[self.format.parity]

    def _put(self, mark: int) -> None:
        self._drive(self._as_mark(mark))

    # --- from the board -------------------------------------------------------

    def sod(self, level: int) -> None:
        """SOD goes to ``level`` (0 or 1) at ``schedule.now``."""
        self._level = self._as_mark(level)
        self.baud_check.edge(self._schedule.now, self._level)
        if self._level == MARK:
            self._seen_mark = True
        elif self._seen_mark and not self._receiving:
            self._receiving = True
            self._start_t = self._schedule.now
            self._samples = []
            self._await_sample()

    def _await_sample(self) -> None:
        middle = self._start_t + (len(self._samples) + Fraction(1, 2)) * self.bit_time
        self._sample_event = self._schedule.at(nearest_t(middle), self._sample)

    def _sample(self) -> None:
        self._sample_event = None
        self._samples.append(self._level)
        if self._samples[0] == MARK:  # too short for a start bit: noise
            self._receiving = False
            return
        if len(self._samples) < 2 + self.format.bits + self._parity_bits:
            self._await_sample()
            return
        self._receiving = False
        self._arrive()

    def _arrive(self) -> None:
        data = self._samples[1 : 1 + self.format.bits]
        value = sum(level << bit for bit, level in enumerate(data))
        fault = self._fault(data)
        self.framing_errors += fault == "framing"
        self.parity_errors += fault == "parity"
        self.breaks += fault == "break"
        self.arrivals.append(Arrival(self._start_t, self._schedule.now, value, fault))
        # After a space where the stop bit belongs, the next start bit needs a mark first.
        self._seen_mark = self._level == MARK
        if fault:
            return
        self.received.append(value)
        for listener in list(self.listeners):
            listener(value)

    def _fault(self, data: list[int]) -> str:
        if not any(self._samples):
            return "break"
        if self._samples[-1] == SPACE:
            return "framing"
        parity = self._samples[1 + self.format.bits : -1]
        return "parity" if parity != self._parity_of(data) else ""

    def _as_mark(self, level: int) -> int:
        """Pin level to mark and space, or back."""
        return 1 - level if self.format.inverted else level


def nearest_t(t: Fraction) -> int:
    """The T-state nearest to an exact moment, half up."""
    if t.denominator == 1:
        return t.numerator
    return (2 * t.numerator + t.denominator) // (2 * t.denominator)
