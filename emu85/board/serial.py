"""The far ends of asynchronous lines: terminals on UARTs, and the one on SID and SOD.

A terminal sends and receives whole characters (:mod:`emu85.board.async_wire`).
Software on the 8085 makes and reads the bits of SID and SOD by counting T-states, so
there both directions are judged at exact moments.  A bit lasts ``clock / baud``
T-states, which need not be whole: every edge and every sample is computed from the
start of its character as a fraction, and rounded to the nearest T-state only where
an edge is scheduled, so that the error never exceeds half a T-state and never adds up.

Towards the board (SID), queued characters follow one another without a pause
unless a gap is set.  From the board (SOD), a character begins when the line
goes from mark to space; the start bit is looked at again in its middle, and all
further bits in theirs.  SOD is 0 after reset, which is space on a line of normal
polarity: since no mark has been seen, nothing is received until the firmware
raises it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import lru_cache, partial
from itertools import pairwise

from emu85.board.async_wire import AsyncReceiver, AsyncSender, later
from emu85.board.baud_check import BaudCheck
from emu85.board.description import SerialFormat
from emu85.board.frames import MARK, SPACE, Arrival, Frame, Framing
from emu85.board.schedule import Event, Moment, Schedule, nearest_t
from emu85.board.serial_faults import AT_TERMINAL, BITS_OFF

ARRIVALS_KEPT = 100_000
"""Characters whose moments and faults are remembered, the latest."""


class Terminal:
    """The far end of a UART's wire: a terminal set to a speed and format.

    Attributes:
        format: speed and framing.
        bit_time: length of a bit in T-states, exact.
        received: all good characters that have arrived since power-on, in order: a
            byte each, so that an hour at 9600 baud takes 3.5 megabytes.
        arrivals: the last :data:`ARRIVALS_KEPT` characters that have arrived, faulty
            ones too.
        framing_errors, parity_errors, breaks: how many of each arrived.
        listeners: each is called with every good character as it arrives.
        told: is called with what is sent (``send`` and bytes, ``break`` and bits).
        noted: is called with what is wrong with what arrives, in words.
        baud_check: how long the bits of what arrives really are.
        sender, receiver: the two directions.
    """

    NOT_STATE = frozenset({"listeners", "noted", "told"})

    def __init__(
        self, format_: SerialFormat, clock: Fraction, put: Callable[[Frame], None]
    ) -> None:
        """``clock`` is in hertz; ``put(frame)`` puts a character on the wire to the board."""
        self.format = format_
        self.bit_time = clock / format_.baud
        self.received = bytearray()
        self.arrivals: deque[Arrival] = deque(maxlen=ARRIVALS_KEPT)
        self.framing_errors = 0
        self.parity_errors = 0
        self.breaks = 0
        self.listeners: list[Callable[[int], None]] = []
        self.told: Callable[[str, bytes | int], None] | None = None
        self.noted: Callable[[str], None] | None = None
        self.baud_check = BaudCheck(format_, self.bit_time, partial(self._note, BITS_OFF))
        framing = Framing(format_.bits, format_.parity, format_.stop)
        self.sender = AsyncSender(put, self._next)
        self.sender.bit_time, self.sender.framing = self.bit_time, framing
        self.receiver = _Measured(self._arrive, self.baud_check)
        self.receiver.set(self.bit_time, framing)
        self._length = framing.length + format_.gap * clock / self.bit_time
        self._levels = framing.sampled
        self._queue: deque[tuple[int, ...]] = deque()
        self._schedule = Schedule()
        self._is_held_back = False

    @property
    def character_time(self) -> Fraction:
        """Start bit to end of the stop bits, in T-states."""
        return self.bit_time * self.sender.framing.length

    @property
    def pending(self) -> int:
        """Characters queued and not yet begun."""
        return len(self._queue)

    @property
    def idle(self) -> bool:
        """Nothing is being sent or waiting to be."""
        return not self._queue and not self.sender.busy

    def power(self, schedule: Schedule) -> None:
        """Start afresh on a schedule: nothing queued or received."""
        self._schedule = schedule
        self._queue.clear()
        self.received.clear()
        self.arrivals.clear()
        self.framing_errors = self.parity_errors = self.breaks = 0
        self.baud_check.clear()
        self.sender.power(schedule)
        self.receiver.power(schedule)

    def send(self, data: bytes) -> None:
        """Queue characters, the first to begin at once if the line is free."""
        self._queue.extend([self.sender.levels(value) for value in data])
        self._go_on()
        if self.told:
            self.told("send", data)

    def send_break(self, bits: int = 20) -> None:
        """Queue a break: space for so many bit times, then mark for one."""
        self._queue.append((SPACE,) * bits + (MARK,))
        self._go_on()
        if self.told:
            self.told("break", bits)

    def clear_to_send(self, level: int) -> None:
        """Its CTS goes to a level: while it is high, no character is begun."""
        self._is_held_back = bool(level)
        if self._queue and not level:
            # As an event: the device that lets it send is in the middle of doing so.
            self._schedule.at(self._schedule.now, self._go_on)

    def _go_on(self) -> None:
        if self._queue and not self.sender.busy:
            self._next()

    def _next(self) -> None:
        if self._queue and not self._is_held_back:
            levels = self._queue.popleft()
            longer = len(levels) - self._levels
            self.sender.send_levels(levels, self._length + longer if longer else self._length)

    def _arrive(self, arrival: Arrival) -> None:
        self.framing_errors += arrival.fault == "framing"
        self.parity_errors += arrival.fault == "parity"
        self.breaks += arrival.fault == "break"
        self.arrivals.append(arrival)
        if arrival.fault:
            self._note(AT_TERMINAL[arrival.fault])
            return
        self.received.append(arrival.value)
        for listener in list(self.listeners):
            listener(arrival.value)

    def _note(self, description: str) -> None:
        if self.noted:
            self.noted(description)


class _Measured(AsyncReceiver):
    """A receiver whose characters are measured as they come."""

    def __init__(self, arrive: Callable[[Arrival], None], check: BaudCheck) -> None:
        super().__init__(arrive)
        self._check = check

    def take(self, frame: Frame) -> None:
        self._check.character(frame.bit_time)
        super().take(frame)

    def level(self, level: int) -> None:
        self._check.edge(self._schedule.now, level)
        super().level(level)


class SerialLine(Terminal):
    """The terminal on SID and SOD, whose characters are edges on the board's side."""

    def __init__(
        self, format_: SerialFormat, clock: Fraction, drive: Callable[[int], None]
    ) -> None:
        """``clock`` is in hertz; ``drive(level)`` puts SID at 0 or 1."""
        super().__init__(format_, clock, self._begin)
        self._drive = drive
        self._edge: Event | None = None
        self._seen_mark = False
        self._start: Moment = 0
        self._changes: Iterator[tuple[Fraction, int]] = iter(())

    def power(self, schedule: Schedule) -> None:
        """Start afresh on a schedule: SID at mark, SOD low, nothing queued or received."""
        if self._edge:
            self._edge.cancel()
            self._edge = None
        super().power(schedule)
        self._seen_mark = self._as_mark(0) == MARK
        self._drive(self._as_mark(MARK))

    def sod(self, level: int) -> None:
        """SOD goes to ``level`` (0 or 1) at ``schedule.now``."""
        mark = self._as_mark(level)
        if mark == MARK:
            self._seen_mark = True
        if self._seen_mark:
            self.receiver.level(mark)

    def _begin(self, frame: Frame) -> None:
        self._start = frame.start
        self._changes = iter(_changes(frame.levels, frame.bit_time))
        # As an event: a cycle that has sampled SID already does not see it.
        first = partial(self._follow, frame.levels[0])
        self._edge = self._schedule.at(self._schedule.now, first)

    def _follow(self, level: int) -> None:
        """Put SID at a level, and see to the next change of the character."""
        self._drive(self._as_mark(level))
        self._edge = None
        change = next(self._changes, None)
        if change:
            t = nearest_t(later(self._start, change[0]))
            self._edge = self._schedule.at(t, partial(self._follow, change[1]))

    def _as_mark(self, level: int) -> int:
        """Pin level to mark and space, or back."""
        return 1 - level if self.format.inverted else level


@lru_cache(maxsize=1024)
def _changes(levels: tuple[int, ...], bit_time: Fraction) -> tuple[tuple[Fraction, int], ...]:
    """When a frame goes to which level, after its start; repeated levels need no edge."""
    return tuple(
        (number * bit_time, level)
        for number, (before, level) in enumerate(pairwise(levels), 1)
        if level != before
    )
