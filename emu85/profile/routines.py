"""T-states by routine, interrupt, port and state, from the records of the trace.

A *routine* is what a CALL, RST or interrupt leads to; what it jumps to is still the same
routine.  Its *own* time is what it spends itself; *with callees* is the time for which at
least one activation of it is under way in what runs just then: the main program, or the
newest interrupt that is not over.  So it has in it what the routine calls, but not the
interrupts that were taken meanwhile, whose time stands by itself; a routine that the main
program and an interrupt both call has the time of both, recursive calls are counted once,
and it is never less than the own time.  A CALL's
own T-states are its caller's, those of RET the routine's, those of an acknowledge the
interrupt's.  Whatever is not in a routine belongs to what RESET, or the beginning of the
watch, led to, so the own times of all rows are all the T-states there are.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import NAMES, Line
from emu85.cpu.compiler import compiled
from emu85.profile.counting import layout as c
from emu85.profile.counting.ways import LENGTHS, WAYS


class Begun(enum.IntEnum):
    """How activations of a row come about; the members of ``counting.layout``."""

    CALLED = c.CALLED
    TRAP = c.TRAP
    RST75 = c.RST75
    RST65 = c.RST65
    RST55 = c.RST55
    INTR = c.INTR
    STARTED = c.STARTED
    """By RESET."""
    UNKNOWN = c.UNKNOWN
    """It was under way when the watch began, or after records were missed."""

    @property
    def text(self) -> str:
        """In a word; empty for a plain call."""
        return _TEXTS[self]

    @property
    def is_interrupt(self) -> bool:
        """Whether an interrupt input led to it."""
        return Begun.TRAP <= self <= Begun.INTR


_TEXTS = {
    Begun.CALLED: "",
    Begun.TRAP: NAMES[Line.TRAP],
    Begun.RST75: NAMES[Line.RST75],
    Begun.RST65: NAMES[Line.RST65],
    Begun.RST55: NAMES[Line.RST55],
    Begun.INTR: NAMES[Line.INTR],
    Begun.STARTED: "from RESET",
    Begun.UNKNOWN: "under way",
}


@dataclass(frozen=True, slots=True)
class Spent:
    """The time of one routine, in T-states.

    Attributes:
        begun, address: what led to it, and its first instruction.
        calls: activations.
        own: without callees.
        whole: with them, no T-state twice; at least ``own``.
        least, most, total: of activations that are over, with callees.
        over: how many are over.
        left: how many of those ended otherwise than by their return.
        idle: of ``own``, halted or on hold.
    """

    begun: Begun
    address: int
    calls: int
    own: int
    whole: int
    least: int
    most: int
    total: int
    over: int
    left: int
    idle: int

    @property
    def mean(self) -> float:
        """T-states of an activation, with callees; 0 if none is over."""
        return self.total / self.over if self.over else 0.0


class Routines:
    """Follows calls and returns; fed with all records in order.

    Attributes:
        port_t: int64, 256; T-states of the CPU's I/O cycles, wait states included.
        waits_at: int64, 65 536 + 256; wait states by address, then by port.
    """

    def __init__(self, start_t: int = 0, resting: Cycle | None = None) -> None:
        """Follow from T-state ``start_t`` on.

        Args:
            resting: HALT or HOLD, if the CPU is so already.
        """
        self._state = np.zeros(c.CELLS, np.int64)
        self._state[[c.MARK, c.LAST_T]] = start_t
        self._state[c.LAST_TYPE] = resting or Cycle.OF
        self._state[c.SP] = -1
        self._frames = np.zeros((c.DEEPEST, c.FRAME_FIELDS), np.int64)
        self._rows = np.zeros((c.COLUMNS, c.ROWS), np.int64)
        key = Begun.UNKNOWN * c.SPACE
        self._frames[0, [c.KEY, c.START]] = key, start_t
        self._rows[c.CALLS, key] = 1
        self._owners = np.zeros(c.SPACE, np.int64)
        self.port_t = np.zeros(c.PORTS, np.int64)
        self.waits_at = np.zeros(c.SPACE + c.PORTS, np.int64)
        self._follow = compiled("emu85.profile.counting.follow", "follow")

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        self._follow(
            np.ascontiguousarray(records).view(np.int64),
            self._state,
            self._frames,
            self._rows,
            self._owners,
            self.port_t,
            self.waits_at,
            WAYS,
            LENGTHS,
        )

    def cut(self) -> None:
        """Records are missing before the next: what is under way is not known any more."""
        self._state[c.IS_CUT] = 1

    @property
    def records(self) -> int:
        """Machine cycles of the CPU that were followed, halts and holds among them."""
        return int(self._state[c.RECORDS])

    @property
    def halt_t(self) -> int:
        """T-states halted, up to the last record."""
        return int(self._state[c.HALT_T])

    @property
    def hold_t(self) -> int:
        """T-states on hold, up to the last record."""
        return int(self._state[c.HOLD_T])

    @property
    def wait_t(self) -> int:
        """Wait states of the CPU's cycles."""
        return int(self._state[c.WAIT_T])

    @property
    def master_cycles(self) -> int:
        """Bus cycles of another bus master."""
        return int(self._state[c.MASTER_CYCLES])

    def finish(self, t: int) -> None:
        """The last machine cycle ends at T-state ``t``; nothing can be fed after it."""
        state, frames, rows = self._state, self._frames, self._rows
        spent, kind = t - int(state[c.LAST_T]), int(state[c.LAST_TYPE])
        key = int(frames[state[c.TOP], c.KEY])
        if kind in (c.IOR, c.IOW):
            self.port_t[state[c.LAST_PORT]] += spent
        elif kind in (c.HALT, c.HOLD):
            state[c.HALT_T if kind == c.HALT else c.HOLD_T] += spent
            rows[c.IDLE, key] += spent
        rows[c.OWN, key] += t - state[c.MARK]
        state[c.MARK] = t
        self._add_open(t)

    def rows(self) -> list[Spent]:
        """What was begun, most own time first; after :meth:`finish`."""
        begun = np.flatnonzero(self._rows[c.CALLS])
        found = [self._row(int(key)) for key in begun]
        shown = [row for row in found if row.begun is not Begun.UNKNOWN or row.own]
        return sorted(shown, key=lambda row: (-row.own, -row.whole, row.address, row.begun))

    def _add_open(self, t: int) -> None:
        """Give the activations that are not over their time with callees."""
        frames, rows = self._frames, self._rows
        service = int(self._state[c.SERVICE_T])
        # From the newest down: services that are not over are nobody else's time.
        for at in range(int(self._state[c.TOP]), -1, -1):
            key, start, before = (int(frames[at, n]) for n in (c.KEY, c.START, c.BEFORE))
            taken = t - start - (service - before)
            same = int(frames[at, c.SAME])
            if same == 0 or same < frames[at, c.SERVICE]:
                rows[c.WHOLE, key] += taken
            if Begun(key // c.SPACE).is_interrupt:
                service += taken

    def _row(self, key: int) -> Spent:
        column = [int(value) for value in self._rows[:, key]]
        return Spent(
            begun=Begun(key // c.SPACE),
            address=key % c.SPACE,
            calls=column[c.CALLS],
            own=column[c.OWN],
            whole=column[c.WHOLE],
            least=column[c.LEAST],
            most=column[c.MOST],
            total=column[c.SUM],
            over=column[c.DONE],
            left=column[c.LEFT],
            idle=column[c.IDLE],
        )
