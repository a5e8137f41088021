"""Records handed on from the trace before its ring forgets them.

The ring holds the recent past only.  Whoever needs every record of a long run goes along
with the machine and folds each stretch into what it keeps::

    execution = Execution()
    with Gathering(machine, execution):
        machine.run(seconds=60)
"""

from __future__ import annotations

from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import SHORTEST
from emu85.machine import Machine

_MARGIN = 0.75
"""Of the ring; the rest is for records that are no machine cycle of the CPU."""


class Taker(Protocol):
    """Keeps what it wants of records that come in batches."""

    def feed(self, records: NDArray[np.void]) -> None:
        """Take the next records: ``bus.trace.RECORD``, oldest first, none left out."""


class First:
    """Hands on the first so many records, and no more.

    Attributes:
        end_t: T-state at which the last of them ends, once another has come.
    """

    def __init__(self, taker: Taker, count: int | None) -> None:
        """``count``: of records; None for all."""
        self._taker = taker
        self._left = count
        self.end_t: int | None = None

    def feed(self, records: NDArray[np.void]) -> None:
        """Take the next records."""
        if self._left is None:
            self._taker.feed(records)
            return
        own, others = records[: self._left], records[self._left :]
        self._left -= len(own)
        if len(own):
            self._taker.feed(own)
        if len(others) and self.end_t is None:
            self.end_t = int(others["t"][0])


class Gathering:
    """Feeds takers with what a machine puts on its trace while the ``with`` block lasts.

    A companion of the machine, which rests for it before anything new is forgotten.

    Attributes:
        complete: whether no record has been missed.
    """

    def __init__(self, machine: Machine, *takers: Taker) -> None:
        self._machine = machine
        self._takers = takers
        self._seen = 0
        self.complete = True

    def __enter__(self) -> Self:
        self._seen = self._machine.trace.total
        self._machine.companions.append(self)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self._machine.companions.remove(self)
        self.rest()

    # --- going along (machine.Companion) ----------------------------------------

    def begin(self) -> None:
        """A motion begins; what was done since the last is seen now."""
        self.rest()

    def next_t(self) -> int:
        """When the ring would begin to forget what has not been handed on."""
        return self._machine.t + longest_slice(self._machine)

    def rest(self) -> None:
        """Hand on the records since the last time."""
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

    def end(self) -> None:
        """The motion is over."""


def longest_slice(machine: Machine) -> int:
    """T-states that a machine may run without its ring forgetting anything new."""
    return max(1, int(machine.trace.size * _MARGIN) * SHORTEST)
