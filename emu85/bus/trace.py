"""The memory of everything that happened on the bus: a ring of records.

One record a machine cycle, 16 bytes, in a ring that the compiled loop fills.  A
full ring forgets the oldest record, and :attr:`Trace.forgotten` says how many.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle

RECORD = np.dtype(
    [
        ("t", "<i8"),
        ("address", "<u2"),
        ("data", "u1"),
        ("type", "u1"),
        ("lines", "<u2"),
        ("waits", "u1"),
        ("interrupts", "u1"),
    ]
)
"""A record: start T-state; address; data byte; ``Cycle``; ``Line`` bits; wait states;
``Interrupts`` bits.  The last are as the cycle begins; an interrupt being acknowledged has
been taken by then."""

CELLS_PER_RECORD = 2


class Columns:
    """All records of a trace, read by column: ``columns["address"]``, oldest first.

    A ring that has wrapped is put in order column by column, and only those that are
    asked for: that moves a fraction of what the records weigh.  It tells of the trace
    as it is until the machine moves.
    """

    def __init__(self, *parts: NDArray[np.void]) -> None:
        self._parts = parts
        self._ordered: dict[str, NDArray[Any]] = {}

    def __len__(self) -> int:
        return sum(map(len, self._parts))

    def __getitem__(self, name: str) -> NDArray[Any]:
        """One field of every record."""
        if name not in self._ordered:
            fields = [part[name] for part in self._parts]
            self._ordered[name] = fields[0] if len(fields) == 1 else np.concatenate(fields)
        return self._ordered[name]


class KeptTrace(NamedTuple):
    """A trace as it was."""

    ring: NDArray[np.int64]
    total: int
    first: int


class Trace:
    """The machine cycles of the recent past, oldest first.

    Args:
        size: how many records the ring holds, at least 1.

    Attributes:
        ring: int64, two cells a record, as the compiled loop fills it.
        position: cell of the next record to be written.
        total: machine cycles recorded since power-on.
    """

    def __init__(self, size: int) -> None:
        if size < 1:
            raise ValueError("a trace holds at least 1 record")
        self.size = size
        self.ring = np.zeros(CELLS_PER_RECORD * size, np.int64)
        self.position = 0
        self.total = 0
        self._first = 0  # number of the oldest record that the ring still has
        self._records: NDArray[np.void] = self.ring.view(RECORD)

    def __len__(self) -> int:
        return min(self.total - self._first, self.size)

    @property
    def forgotten(self) -> int:
        """How many records since power-on the ring no longer has."""
        return self.total - len(self)

    def last(self, n: int) -> NDArray[np.void]:
        """The last ``n`` records (or as many as there are), oldest first.

        Returns:
            structured array of dtype :data:`RECORD`, a copy.
        """
        parts = self._parts(max(0, min(n, len(self))))
        return parts[0].copy() if len(parts) == 1 else np.concatenate(parts)

    def all(self) -> NDArray[np.void]:
        """Every record held, oldest first; a view where they are not around the ring's end."""
        parts = self._parts(len(self))
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def pieces(self, n: int, most: int) -> Iterator[NDArray[np.void]]:
        """The last ``n`` records, oldest first, as views of at most ``most`` records.

        Nothing is copied; they tell of the trace as it is until the machine moves.
        """
        for part in self._parts(max(0, min(n, len(self)))):
            for begin in range(0, len(part), most):
                yield part[begin : begin + most]

    def columns(self) -> Columns:
        """Every record held, by column, with little copied."""
        return Columns(*self._parts(len(self)))

    def _parts(self, n: int) -> list[NDArray[np.void]]:
        """The last ``n`` records as views, in two parts if the ring's end is among them."""
        end = self.position // CELLS_PER_RECORD
        start = end - n
        if start >= 0:
            return [self._records[start:end]]
        return [self._records[start:], self._records[:end]]

    def at(self, places: NDArray[np.intp]) -> NDArray[np.void]:
        """The records at ``places``, counted from the oldest held; a copy."""
        oldest = self.position // CELLS_PER_RECORD - len(self)
        return self._records[(oldest + places) % self.size]

    def __getitem__(self, i: int) -> np.void:
        """Record ``i``, counted from the oldest held, or from the newest if negative.

        Raises:
            IndexError: if there is no such record.
        """
        held = len(self)
        if not -held <= i < held:
            raise IndexError(f"the trace holds {held} records")
        if i < 0:
            i += held
        oldest = self.position // CELLS_PER_RECORD - held
        record: np.void = self._records[(oldest + i) % self.size]
        return record

    def remember(self, record: NDArray[np.void]) -> None:
        """Where it is empty, have the last record again.

        Args:
            record: that of the last machine cycle, of length 1.
        """
        if len(self) or not self.total:
            return
        self._records[(self.total - 1) % self.size] = record[0]
        self._first = self.total - 1

    def append(
        self, t: int, address: int, data: int, kind: Cycle, lines: int, interrupts: int = 0
    ) -> None:
        """Write a record from outside the loop (reset, a device that drives the bus)."""
        place = self.position // CELLS_PER_RECORD
        self._records[place] = (t, address, data, kind, lines, 0, interrupts)
        self.position = (self.position + CELLS_PER_RECORD) % len(self.ring)
        self.total += 1

    def clear(self) -> None:
        """Forget everything, as at power-on."""
        self.position = 0
        self.total = 0
        self._first = 0

    def kept(self) -> KeptTrace:
        """All of it, to be put back later."""
        return KeptTrace(self.ring.copy(), self.total, self._first)

    def put_back(self, kept: KeptTrace) -> None:
        """Make it what it was when it was kept."""
        self.ring[:] = kept.ring
        self._first = kept.first
        self.total = kept.total
        self.position = self.total % self.size * CELLS_PER_RECORD

    def go_to(self, total: int) -> None:
        """Be as after the first ``total`` records since power-on.

        What later records have overwritten in the ring stays forgotten.  Going forward,
        the trace is empty: what is in the ring may be of another time.
        """
        oldest = max(self._first, self.total - self.size)
        self._first = min(oldest, total) if total <= self.total else total
        self.total = total
        self.position = total % self.size * CELLS_PER_RECORD
