"""Going back in board time: snapshots on the way, and all that was done, done again.

A machine is the same in every run, so any moment of its past is a snapshot of before
it, and a run from there with everything done again that was done from outside
(:mod:`emu85.history.journal`).  Nothing is heard of such a run: no stop of the user's
holds it, and what the board sends goes nowhere.

In the past the machine can go on as it did, with step and run: what was done from
outside comes again at its time.  What the user does there anew ends that: from then
on it is another story, and what was to come is forgotten.
"""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board.contents import Contents
from emu85.board.deeds import Deed
from emu85.bus.cycles import Cycle
from emu85.bus.trace import Columns, KeptTrace
from emu85.cpu.layout import IO_BASE, State
from emu85.history.journal import Journal
from emu85.history.snapshot import MOTION_CELLS, Snapshot
from emu85.machine import Machine
from emu85.stops import Condition
from emu85.stops.match import find as find_in

APART = 0.02
"""Seconds of work between snapshots, so that the run from one to the next is short."""

_DEAR = 10
"""Snapshots are at least so many times further apart than it takes to make one."""

MOST = 80
"""Snapshots kept; beyond them, those are dropped that leave the least gap for their age."""

_FEWEST_T = 3
"""T-states of the shortest machine cycle."""

Found = np.void | None
"""A record of the trace, or none."""

_WORTH = 2000
"""Machine cycles of before that should stand on the trace where the machine is put."""

_REGISTERS = frozenset({State.SP, *range(State.REGISTERS, State.REGISTERS + 16)})
_CONTROL = frozenset(
    {
        *(State.PC, State.ROW, State.HALTED, State.ANSWER),
        *(State.IE, State.MASKS, State.LATCH75),
    }
)
"""Cells that can be set by hand; a reset sets the latter anew."""

Picks = Callable[[Columns], NDArray[np.intp]]
"""Indices, oldest first, of the records that are looked for."""


class KeptHistory(NamedTuple):
    """A history as it was, and the moment at which the machine was in it."""

    now: Snapshot
    trace: KeptTrace
    journal: Journal
    snapshots: list[tuple[Snapshot, int]]
    latest_t: int
    beginning: Contents


class History:
    """The past of one machine, from power-on.

    Attributes:
        latest_t: the furthest moment that is known, in T-states.
        snapshots: in order of time.
        journal: what was done from outside.
    """

    def __init__(self, machine: Machine, *, apart: float | None = None, most: int = MOST) -> None:
        """Keep the history of ``machine`` from its present moment on.

        Args:
            apart: seconds of work between snapshots; :data:`APART` unless given, or more
                where snapshots are dear.
            most: snapshots kept, at least 2.
        """
        self.machine = machine
        self.latest_t = machine.t
        self.journal = Journal()
        self.snapshots: list[tuple[Snapshot, int]] = []
        self._apart = apart
        self._most = max(2, most)
        self._first_map = machine.board.map.copy()
        self._beginning = machine.board.contents()
        self._cells: list[int] = []
        self._rest_t = machine.t
        self._worked = 0.0
        self._began = 0.0
        self._cost = 0.0
        self._is_moving = False
        self._is_doing_again = False
        machine.companions.append(self)
        machine.board.deeds.listener = self._note
        self._start()

    def close(self) -> None:
        """Keep it no longer."""
        self.machine.companions.remove(self)
        self.machine.board.deeds.listener = None

    # --- beginning, as a whole ----------------------------------------------------

    @property
    def beginning(self) -> Contents:
        """What all chips held at :attr:`first_t`."""
        return self._beginning

    def begin_anew(self, contents: Contents) -> None:
        """Power off and on, with all chips holding what they held.

        Raises:
            UserError: contents of another board; or a battery file cannot be written.
        """
        self.machine.power()
        self.machine.board.put_contents(contents)
        self._start()

    def kept(self) -> KeptHistory:
        """All of it and the present moment, to be put back later."""
        now = Snapshot(self.machine, self._first_map)
        journal = Journal()
        journal.entries, journal.done = list(self.journal.entries), self.journal.done
        trace = self.machine.trace.kept()
        snapshots = list(self.snapshots)
        return KeptHistory(now, trace, journal, snapshots, self.latest_t, self._beginning)

    def put_back(self, kept: KeptHistory) -> None:
        """Make the machine and its history what they were."""
        kept.now.put_back(self.machine)
        self.machine.trace.put_back(kept.trace)
        self.journal, self.snapshots = kept.journal, kept.snapshots
        self.latest_t, self._beginning = kept.latest_t, kept.beginning
        self._keep_cells()

    # --- going along (machine.Companion) ----------------------------------------

    def begin(self) -> None:
        """A motion begins."""
        self._notice_cells()
        self._is_moving = True
        self._began = time.monotonic()

    def next_t(self) -> int:
        """When something is to be done again."""
        return self.journal.next_t

    def rest(self) -> None:
        """Do again what is due; make a snapshot if the last is long ago."""
        now = time.monotonic()
        self._worked += now - self._began
        self._began = now
        if self.journal.next_t <= self.machine.t:
            self._do_again()
        self.latest_t = max(self.latest_t, self.machine.t)
        self._keep_cells()
        if self._worked >= self._interval:
            self._take()
            self._worked = 0.0
            self._began = time.monotonic()
            self._cost = self._began - now

    @property
    def _interval(self) -> float:
        return max(APART, _DEAR * self._cost) if self._apart is None else self._apart

    def end(self) -> None:
        """The motion is over."""
        self._is_moving = False

    # --- going back and forth ------------------------------------------------------

    @property
    def in_past(self) -> bool:
        """Whether moments later than now are known."""
        self._notice_cells()
        return self.machine.t < self.latest_t

    @property
    def first_t(self) -> int:
        """The earliest moment that can be gone to, in T-states."""
        return self.snapshots[0][0].t

    def go_to(self, t: int) -> None:
        """Be at the first moment between machine cycles that is not before ``t``.

        It is between :attr:`first_t` and :attr:`latest_t`, whatever ``t`` is.
        """
        self._notice_cells()
        t = max(self.first_t, min(t, self.latest_t))
        with self._unheard():
            if t < self.machine.t or self._snapshot_before(t) > self._snapshot_before(self._rest_t):
                self._put_back(t)
            self._run_to(t)

    def back_cycles(self, count: int) -> None:
        """Go back by so many machine cycles, or to the beginning."""
        self._back_to_one_of(_all, count)

    def back_instructions(self, count: int) -> None:
        """Go back to the start of the instruction under way, or of so many before it."""
        self._back_to_one_of(_starts, count)

    def back_to(self, conditions: list[Condition]) -> np.void | None:
        """Go back to just after the last machine cycle that met a condition.

        The cycle that has just ended does not count, so that each call goes further.
        Sequences and passes are followed within the trace only.

        Returns:
            the record of that cycle, or None, and nothing is changed, if there was none.
        """
        simple = all(len(c.steps) == 1 and not c.steps[0].passes for c in conditions)
        trace = self.machine.trace
        before = int(trace[-1]["t"]) if len(trace) else self.machine.t
        found = self._last(lambda records: _met(conditions, records), 1, before, older=simple)
        if found is None:
            return None
        self.go_to(int(found["t"]) + 1)
        return found

    def last_write(self, address: int) -> np.void | None:
        """The record of the write that last changed the byte at a memory address.

        Writes by way of mirrors, and those of a bus master, count as well.

        Returns:
            the record, or None if nothing was written there.
        """
        cells = self.machine.board.map[:IO_BASE] & ((1 << 20) - 1)
        mirrors = np.flatnonzero(cells == cells[address])

        def writes(records: Columns) -> NDArray[np.intp]:
            written = np.flatnonzero(records["type"] == Cycle.MW)
            return written[np.isin(records["address"][written], mirrors)]

        return self._last(writes, 1, self.machine.t)

    def instruction_before(self, t: int) -> Found:
        """The record that began the instruction, or its acceptance, under way at ``t``."""
        return self._last(_starts, 1, t)

    # --- doing it ---------------------------------------------------------------------

    def _start(self) -> None:
        """Power has come on: nothing is before this."""
        self.journal = Journal()
        self.snapshots.clear()
        self._worked = 0.0
        self.latest_t = self.machine.t
        self._beginning = self.machine.board.contents()
        self._keep_cells()
        self._take()

    def _note(self, deed: Deed) -> None:
        if self._is_doing_again or self._is_moving:  # an event's doing comes again by itself
            return
        if deed.kind == "power":
            self._start()
            return
        by_hand = [(n, value) for n, value in self._changed_cells() if n in _untouched_by(deed)]
        if by_hand:  # before this, and not noticed yet
            self._add(Deed("cells", (by_hand,)))
        self._add(deed)
        self._keep_cells()

    def _add(self, deed: Deed) -> None:
        t = self._rest_t  # a reset takes time itself
        self.journal.add(t, deed)
        self.latest_t = self.machine.t
        while self.snapshots[-1][0].t > t or self.snapshots[-1][1] >= self.journal.done:
            self.snapshots.pop()

    def _do_again(self) -> None:
        self._is_doing_again = True
        try:
            self.journal.catch_up(self.machine)
        finally:
            self._is_doing_again = False
            self._keep_cells()  # or what has just been done again would be taken for new

    def _keep_cells(self) -> None:
        self._cells = self.machine.registers.state.tolist()
        self._rest_t = self.machine.t

    def _notice_cells(self) -> None:
        """What was put into registers since the machine rests is a deed."""
        changed = self._changed_cells()
        if changed:
            self._note(Deed("cells", (changed,)))

    def _changed_cells(self) -> list[tuple[int, int]]:
        now = self.machine.registers.state.tolist()
        if now == self._cells:
            return []
        pairs = enumerate(zip(now, self._cells, strict=True))
        return [(n, new) for n, (new, old) in pairs if new != old and n not in MOTION_CELLS]

    def _take(self) -> None:
        """Make a snapshot, unless there is one of this moment."""
        t = self.machine.t
        before = self._snapshot_before(t)
        if before >= 0 and self.snapshots[before][0].t == t:
            return
        kept = (Snapshot(self.machine, self._first_map), self.journal.done)
        self.snapshots.insert(before + 1, kept)
        if len(self.snapshots) > self._most:
            self._drop_one()

    def _drop_one(self) -> None:
        """Drop the snapshot that leaves the least gap for its age."""
        times = np.array([kept[0].t for kept in self.snapshots], dtype=np.float64)
        gaps = times[2:] - times[:-2]
        ages = self.latest_t - times[1:-1] + 1
        del self.snapshots[1 + int(np.argmin(gaps / ages))]

    def _put_back(self, t: int) -> None:
        """Be at a snapshot of before ``t``, if possible so long before that the trace is of use."""
        last = self._snapshot_before(t)
        snapshot, done = self.snapshots[self._with_a_past(last)]
        snapshot.put_back(self.machine)
        self.journal.done = done
        self._keep_cells()

    def _snapshot_before(self, t: int) -> int:
        """The number of the last snapshot at ``t`` or before."""
        return bisect_right(self.snapshots, t, key=lambda kept: kept[0].t) - 1

    def _with_a_past(self, last: int) -> int:
        """The number of a snapshot, ``last`` or before, from which a trace is made anew."""
        total = self.snapshots[last][0].total
        trace = self.machine.trace
        if total <= trace.total and total - trace.forgotten >= _WORTH:
            return last
        place = last
        while place and total - self.snapshots[place][0].total < _WORTH:
            place -= 1
        return place

    def _run_to(self, t: int) -> None:
        if self.journal.next_t <= self.machine.t:
            self._do_again()
        while self.machine.t < t:
            self.machine.run(t_states=t - self.machine.t, wait=True)

    @contextmanager
    def _unheard(self) -> Iterator[None]:
        """Let nobody outside hear of what the machine does, nor hold it."""
        ends = list(self.machine.board.serial_ends.values())
        listeners = [end.listeners for end in ends]
        for end in ends:
            end.listeners = []
        self.machine.holds_for_user = False
        try:
            with self.machine.stops.standing_still():
                yield
        finally:
            self.machine.holds_for_user = True
            for end, heard in zip(ends, listeners, strict=True):
                end.listeners = heard

    # --- looking for a moment ------------------------------------------------------------

    def _back_to_one_of(self, picks: Picks, count: int) -> None:
        """Go back to the start of the ``count``-th last record that is picked."""
        here = self.machine.t
        found = self._last(picks, count, here) if count else None
        if count:
            self.go_to(self.first_t if found is None else int(found["t"]))

    def _last(self, picks: Picks, count: int, before: int, *, older: bool = True) -> Found:
        """The ``count``-th last record picked that began before T-state ``before``.

        The trace is asked first, then what it has forgotten, stretch by stretch
        backwards from snapshot to snapshot.
        """
        self._notice_cells()
        here = self.machine.t
        found, count = _picked(self.machine, picks, count, before)
        if found is not None or not older:
            return found
        oldest = int(self.machine.trace[0]["t"]) if len(self.machine.trace) else here
        ends = [kept[0].t for kept in self.snapshots if kept[0].t < oldest] + [oldest]
        try:
            with self._unheard():
                for begin, end in zip(ends[-2::-1], ends[:0:-1], strict=True):
                    found, count = self._last_between(begin, end, picks, count)
                    if found is not None:
                        return found
        finally:
            self.go_to(here)
        return None

    def _last_between(self, begin: int, end: int, picks: Picks, count: int) -> tuple[Found, int]:
        """The same between two moments; how many are still to be found if it is not there."""
        self._put_back(begin)
        kept: list[NDArray[np.void]] = []
        while self.machine.t < end:
            first = self.machine.trace.total
            piece = min(end, self.machine.t + _FEWEST_T * self.machine.trace.size // 2)
            self._run_to(piece)
            new = self.machine.trace.last(self.machine.trace.total - first)
            chosen = new[picks(Columns(new))]
            kept.append(chosen[chosen["t"] < end])
        all_of_them = np.concatenate(kept) if kept else np.empty(0)
        if len(all_of_them) >= count:
            return all_of_them[-count], 0
        return None, count - len(all_of_them)


def _untouched_by(deed: Deed) -> frozenset[int]:
    """Cells that have been changed by hand if they have changed when a deed is told of.

    A key may change an input line; what a reset sets need not be done before it.
    """
    match deed.kind:
        case "cells":
            return frozenset()
        case "reset":
            return _REGISTERS
        case _:
            return _REGISTERS | _CONTROL


def _picked(machine: Machine, picks: Picks, count: int, before: int) -> tuple[Found, int]:
    """The ``count``-th last record on the trace that is picked, or how many are missing."""
    columns = machine.trace.columns()
    places = picks(columns)
    places = places[: np.searchsorted(columns["t"][places], before)]
    if len(places) >= count:
        record: np.void = machine.trace.at(places[-count:])[0]
        return record, 0
    return None, count - len(places)


def _all(records: Columns) -> NDArray[np.intp]:
    return np.arange(len(records))


def _starts(records: Columns) -> NDArray[np.intp]:
    """Cycles that begin an instruction or the acceptance of an interrupt."""
    kinds = records["type"]
    acknowledges = kinds == Cycle.INA
    acknowledges[1:] &= kinds[:-1] != Cycle.INA
    return np.flatnonzero((kinds == Cycle.OF) | acknowledges)


def _met(conditions: list[Condition], records: Columns) -> NDArray[np.intp]:
    """Cycles that met any of the conditions."""
    found = [find_in(condition, records) for condition in conditions]
    return np.unique(np.concatenate(found)) if found else np.empty(0, np.intp)
