"""Reads of RAM that is written right after: what a test of RAM does to find out its size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line

_SOON = 150
"""Machine cycles from the read to the write, at most: some six instructions, and an interrupt
routine that may come between."""


class Probes:
    """Notes such reads; fed with all records in order.

    Attributes:
        written: bool, 65 536: whether the byte was written soon after each read of it that
            gave rise to a finding.
    """

    def __init__(self) -> None:
        self.written = np.ones(0x10000, bool)
        self._late: NDArray[np.void] | None = None

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        late = self._late
        joined = records if late is None else np.concatenate((late, records))
        self._look(joined, max(0, len(joined) - _SOON))
        self._late = joined[-_SOON:].copy()

    def finish(self) -> None:
        """Nothing comes any more."""
        if self._late is not None:
            self._look(self._late, len(self._late))
            self._late = None

    def _look(self, records: NDArray[np.void], end: int) -> None:
        """Judge the reads before a place."""
        kinds, lines = records["type"][:end], records["lines"][:end]
        reads = np.flatnonzero((kinds == Cycle.MR) & (lines & int(Line.FINDING) != 0))
        addresses = records["address"]
        soon = np.zeros(len(reads), bool)
        for later in range(1, _SOON + 1):
            places = np.minimum(reads + later, len(records) - 1)
            is_write = records["type"][places] == Cycle.MW
            soon |= is_write & (addresses[places] == addresses[reads])
        self.written[addresses[reads[~soon]]] = False
