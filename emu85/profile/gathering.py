"""Records handed on from the trace before its ring forgets them.

The ring holds the recent past only.  Whoever needs every record of a long run moves
the machine in slices and has each slice folded into what it keeps::

    execution = Execution()
    gathering = Gathering(machine, execution)
    while machine.t < end:
        machine.run(t_states=min(longest_slice(machine), end - machine.t))
        gathering.fold()
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from emu85.machine import Machine

_SHORTEST_CYCLE = 3
"""T-states of the shortest machine cycle; only the first of a halt or hold is shorter,
and it is followed by longer ones (User's Manual, October 1979; value from memory)."""
_MARGIN = 0.75
"""Of the ring; the rest is for records that are no machine cycle of the CPU."""


class Taker(Protocol):
    """Keeps what it wants of records that come in batches."""

    def feed(self, records: NDArray[np.void]) -> None:
        """Take the next records: ``bus.trace.RECORD``, oldest first, none left out."""


class Gathering:
    """Feeds takers with what a machine puts on its trace from now on.

    Attributes:
        complete: whether no record has been missed.
    """

    def __init__(self, machine: Machine, *takers: Taker) -> None:
        self._machine = machine
        self._takers = takers
        self._seen = machine.trace.total
        self.complete = True

    def fold(self) -> None:
        """Hand on the records since the last time, while the machine rests."""
        trace = self._machine.trace
        if trace.total < self._seen:  # power went off and on, and the trace began anew
            self.complete = False
            self._seen = 0
        fresh = trace.total - self._seen
        self.complete &= fresh <= len(trace)
        self._seen = trace.total
        records = trace.last(fresh)
        if len(records):
            for taker in self._takers:
                taker.feed(records)


def longest_slice(machine: Machine) -> int:
    """T-states that a machine may run without its ring forgetting anything new."""
    return max(1, int(machine.trace.size * _MARGIN) * _SHORTEST_CYCLE)
