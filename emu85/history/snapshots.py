"""The snapshots of a machine's past, in order of time.

What was touched on the bus in a stretch from one of them to the next is kept with the one
that ends it; what was touched after the last is told by the machine itself, and by what is
known of it from before a snapshot in the past was put back.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from emu85.history.snapshot import Snapshot
from emu85.history.touched import Touched, begin, nothing_touched, touched

if TYPE_CHECKING:
    from emu85.machine import Machine

MOST = 80
"""Snapshots kept; beyond them, those are dropped that leave the least gap for their age."""


class Kept(NamedTuple):
    """A snapshot, and how many deeds had been done at its moment."""

    snapshot: Snapshot
    done: int


class KeptSnapshots(NamedTuple):
    """All of them as they were."""

    rows: list[Kept]
    touched_last: Touched


class Snapshots:
    """Those of one machine; it has them by number, from 0 on, the oldest first."""

    def __init__(self, machine: Machine, most: int) -> None:
        self._machine = machine
        self._most = max(2, most)
        self._first_map = machine.board.map.copy()
        self._rows: list[Kept] = []
        self._touched_last = nothing_touched()

    def __len__(self) -> int:
        return len(self._rows)

    def __getitem__(self, number: int) -> Kept:
        return self._rows[number]

    def __iter__(self) -> Iterator[Kept]:
        return iter(self._rows)

    def __reversed__(self) -> Iterator[Kept]:
        return reversed(list(self._rows))

    def made(self) -> Snapshot:
        """One of now, that is not kept here."""
        return Snapshot(self._machine, self._first_map)

    def before(self, t: int) -> int:
        """The number of the last at ``t`` or before; -1 for none."""
        return bisect_right(self._rows, t, key=lambda kept: kept.snapshot.t) - 1

    def before_total(self, total: int) -> int:
        """The number of the last at which no more machine cycles had been done."""
        return bisect_right(self._rows, total, key=lambda kept: kept.snapshot.total) - 1

    def between(self, t: int, until: int) -> list[Snapshot]:
        """Those of after ``t`` and before ``until``."""
        later = (kept.snapshot for kept in self._rows[self.before(t) + 1 :])
        return [snapshot for snapshot in later if snapshot.t < until]

    def at(self, t: int) -> Snapshot | None:
        """The one of that moment."""
        number = self.before(t)
        if number < 0 or self._rows[number].snapshot.t != t:
            return None
        return self._rows[number].snapshot

    # --- making and dropping ------------------------------------------------------------

    def clear(self) -> None:
        """Power has come on: there are none."""
        self._rows.clear()
        self._touched_last = nothing_touched()

    def take(self, done: int, latest_t: int) -> Snapshot:
        """Keep one of now.

        Args:
            done: deeds that have been done.
            latest_t: the furthest moment that is known, in T-states.
        """
        made = self.made()
        number = self.before(made.t) + 1
        self._rows.insert(number, Kept(made, done))
        if len(self._rows) > self._most and self._drop_one(latest_t) is made:
            return made  # what has been touched is told by the next, or by the machine
        if self._rows[-1].snapshot is made:
            self._touched_last = nothing_touched()
        else:  # the last stretch may have been run through since that was asked for
            self._touched_last = self._touched_last | made.touched
        begin(self._machine)
        return made

    def forget_later(self, t: int, done: int) -> None:
        """Drop those of after ``t``, and those at which ``done`` deeds or more had been done."""
        while self._rows[-1].snapshot.t > t or self._rows[-1].done >= done:
            self._rows.pop()

    def _drop_one(self, latest_t: int) -> Snapshot:
        """Drop the one that leaves the least gap for its age."""
        times = np.array([kept.snapshot.t for kept in self._rows], dtype=np.float64)
        gaps = times[2:] - times[:-2]
        ages = latest_t - times[1:-1] + 1
        number = 1 + int(np.argmin(gaps / ages))
        dropped, following = self._rows[number].snapshot, self._rows[number + 1].snapshot
        following.touched = following.touched | dropped.touched
        del self._rows[number]
        return dropped

    # --- what was touched ---------------------------------------------------------------

    def touched_from(self, t: int) -> Touched:
        """What was touched between a snapshot's moment and the next, or now."""
        following = self.before(t) + 1
        if following < len(self._rows):
            return self._rows[following].snapshot.touched
        return self._touched_last | touched(self._machine)

    # --- as a whole ---------------------------------------------------------------------

    def kept(self) -> KeptSnapshots:
        """All of them, to be put back later."""
        last = self.touched_from(self._rows[-1].snapshot.t)
        return KeptSnapshots(list(self._rows), last)

    def put_back(self, kept: KeptSnapshots) -> None:
        """Have those that there were."""
        self._rows, self._touched_last = kept.rows, kept.touched_last
