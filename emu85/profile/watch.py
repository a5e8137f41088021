"""A watch over a machine: what it does from now on, counted while it goes.

The ring of the trace holds the recent past only, so a watch goes along with the machine
(``machine.Companion``) and takes the records out before any is forgotten.

Time can go back.  With the machine's history at hand, what is done again in the past is
not counted again: the figures stay those up to the newest moment.  When another story
begins there, what came after is forgotten by the history, and the figures with it: they
begin anew at that moment, and say so.  So they do when power goes off and on, and
without a history whenever time goes back.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass

from emu85.bus.cycles import STATES, Cycle
from emu85.history.history import History
from emu85.machine import Machine
from emu85.profile.coverage import Execution
from emu85.profile.gathering import longest_slice
from emu85.profile.latency import Latencies, Latency
from emu85.profile.routines import Routines

_PIECE = 8192
"""Records handed on at a time: what is made of so many stays near the processor."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was counted.

    Attributes:
        start_t, end_t: from when to when, in T-states since power-on.
        execution, routines: finished.
        latencies: how long interrupts waited.
        complete: False if records were missed.
        note: why the figures do not begin where the watch did; empty if they do.
    """

    start_t: int
    end_t: int
    execution: Execution
    routines: Routines
    latencies: Sequence[Latency]
    complete: bool
    note: str

    @property
    def t_states(self) -> int:
        """T-states from the one to the other."""
        return self.end_t - self.start_t


class Watch:
    """Counts all that a machine does from now on.

    Args:
        history: of that machine, if it can go back in time.
    """

    _seen: int
    """Records since power-on that were counted."""
    _t: int
    """The end of the last of them."""
    _execution: Execution
    _routines: Routines
    _latencies: Latencies

    def __init__(self, machine: Machine, history: History | None = None) -> None:
        self._machine = machine
        self._history = history
        self._begin("")
        machine.companions.append(self)

    def close(self) -> None:
        """Count no longer."""
        self._machine.companions.remove(self)

    # --- going along (machine.Companion) ----------------------------------------

    def begin(self) -> None:
        """A motion begins; what was done since the last is seen now."""
        self.look()

    def next_t(self) -> int:
        """When the ring would begin to forget what has not been counted."""
        return self._machine.t + longest_slice(self._machine)

    def rest(self) -> None:
        """Count what has been done."""
        self.look()

    def end(self) -> None:
        """The motion is over."""

    # --- counting ------------------------------------------------------------------

    def look(self) -> None:
        """Count what the trace has and was not counted; while the machine rests."""
        machine = self._machine
        if machine.trace.total < self._seen or machine.t < self._t:
            if self._is_known():
                return
            self._begin(_ANEW.format(machine.t) if machine.trace.total > 1 else _POWER)
        fresh = machine.trace.total - self._seen
        if fresh > len(machine.trace):
            self._miss()
        self._seen = machine.trace.total
        self._t = machine.t
        for records in machine.trace.pieces(fresh, _PIECE):
            for taker in (self._execution, self._routines, self._latencies):
                taker.feed(records)

    def figures(self) -> Figures:
        """What has been counted up to now."""
        self.look()
        execution, routines, latencies = copy.deepcopy(
            (self._execution, self._routines, self._latencies)
        )
        for taker in (execution, routines, latencies):
            taker.finish(self._t)
        return Figures(
            self._start_t,
            self._t,
            execution,
            routines,
            latencies.rows(),
            self._is_complete,
            self._note,
        )

    def _begin(self, note: str) -> None:
        trace = self._machine.trace
        is_power_on = trace.total == 1 and trace[-1]["type"] == Cycle.RESET
        self._seen = 0 if is_power_on else trace.total
        self._t = self._start_t = int(trace[-1]["t"]) if is_power_on else self._machine.t
        last = Cycle(int(trace[-1]["type"])) if len(trace) else Cycle.OF
        resting = last if last in STATES - {Cycle.RESET} else None
        self._execution = Execution()
        self._routines = Routines(self._start_t, resting)
        self._latencies = Latencies()
        self._is_complete = True
        self._note = note
        self._journal = self._history.journal if self._history else None

    def _is_known(self) -> bool:
        """Whether the machine does again what has been counted."""
        history = self._history
        if history is None or history.journal is not self._journal:
            return False
        return history.in_past and history.latest_t >= self._t

    def _miss(self) -> None:
        self._is_complete = False
        self._execution.cut()
        self._routines.cut()


_POWER = "power went off and on: counted from there"
_ANEW = "time went back, and on another way: counted from T {}"
