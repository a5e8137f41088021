"""Looking for a machine cycle of the past: on the trace, then in what the trace has forgotten.

What is forgotten is made anew, stretch by stretch backwards from snapshot to snapshot.
What a stop looks for the loop counts meanwhile.  For anything else a stretch is looked
at in pieces that the trace can hold, and each piece with the record before it, so that a
line that changes in its first cycle is seen to change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import SHORTEST, Cycle
from emu85.bus.lines import Line
from emu85.bus.trace import Columns
from emu85.history.wanted import Stretch, Wanted, of_last_steps
from emu85.stops import Condition, Step, Stop
from emu85.stops.match import find

if TYPE_CHECKING:
    from emu85.history.history import History

Found = np.void | None
"""A record of the trace, or none."""

Picks = Callable[[Columns], NDArray[np.intp]]
"""Indices, oldest first, of the records that are looked for; the first is not asked for."""


class Piece(NamedTuple):
    """Some records in a row; the first is that of before them, or one more of its kind.

    Attributes:
        is_first: nothing was looked at between the snapshot and this.
    """

    records: NDArray[np.void]
    is_first: bool


class Seeker:
    """Looks for records of a history's past; the machine is then where it was."""

    def __init__(self, history: History) -> None:
        self._history = history

    def last(self, picks: Picks, count: int, before: int) -> Found:
        """The ``count``-th last record picked that began before a T-state.

        Args:
            count: from 1 on.
            before: T-state; later records and one that began there are passed over.
        """
        found, missing = self._on_trace(picks, count, before)
        if found is not None or not self._history.machine.trace.forgotten:
            return found
        with self._history.staying():
            for begin, end in self.stretches(min(before, self._oldest_t)):
                found, missing = self._in_stretch(begin, end, picks, missing)
                if found is not None:
                    return found
        return None

    def last_met(self, conditions: list[Condition], before: int, after: int) -> int:
        """When the last machine cycle began that met any of some conditions.

        Args:
            conditions: of one step without passes each.
            before: T-state; a later cycle and one that began there are passed over.
            after: those of before this T-state may be passed over.

        Returns:
            T-state, or -1 for none.
        """
        found, _ = self._on_trace(_met(conditions), 1, before)
        if found is not None:
            return int(found["t"])
        if not self._history.machine.trace.forgotten or self._oldest_t <= after:
            return -1
        before = min(before, self._oldest_t)
        reset = self._last_reset(conditions, before)
        stretches = list(self.stretches(before, max(after, reset), of_last_steps(conditions)))
        if not stretches:
            return reset
        with self._history.staying(conditions) as stops:
            hits = (self.last_hit(stops, begin, end) for begin, end in stretches)
            return max(next((t for t in hits if t >= 0), -1), reset)

    def last_counted(self, step: Step, count: int, before: int) -> int:
        """When the ``count``-th last machine cycle began that met a step, passes left aside.

        Args:
            count: from 1 on.
            before: T-state; a later cycle and one that began there are passed over.

        Returns:
            T-state, or -1 if there were not so many.
        """
        condition = Condition((replace(step, passes=0),))
        if step.types == {Cycle.RESET}:
            resets = list(islice(self._resets([condition], before), count))
            return resets[-1] if len(resets) == count else -1
        found, missing = self._on_trace(_met([condition]), count, before)
        if found is not None:
            return int(found["t"])
        if not self._history.machine.trace.forgotten:
            return -1
        before = min(before, self._oldest_t)
        stretches = list(self.stretches(before, wanted=of_last_steps([condition])))
        with self._history.staying([condition]) as stops:
            for begin, end in stretches:
                self.last_hit(stops, begin, end)
                hits = stops[0].hits
                if hits >= missing:
                    return self._first_after(hits - missing, step, begin, end)
                missing -= hits
        return -1

    def _first_after(self, passes: int, step: Step, begin: int, end: int) -> int:
        """When the first cycle of a stretch began that met a step, after some passes."""
        with self._history.staying([Condition((replace(step, passes=passes),))]) as stops:
            found = self.first_hit(stops, begin, end, begin)
        return -1 if found is None else int(found["t"])

    def _last_reset(self, conditions: list[Condition], before: int) -> int:
        """The same of a RESET by hand, which is no cycle of the loop's."""
        return next(self._resets(conditions, before), -1)

    def _resets(self, conditions: list[Condition], before: int) -> Iterator[int]:
        """When RESETs by hand, the last first, met any of some conditions of one step."""
        asked = [each for each in conditions if _may_be_reset(each.steps[-1])]
        journal = self._history.journal
        for entry in reversed(journal.entries[: journal.done] if asked else []):
            if entry.deed.kind != "reset" or entry.t >= before:
                continue
            records = self._up_to(entry.t)
            if any(len(records) - 1 in find(each, records) for each in asked):
                yield entry.t

    def begun_at(self, t: int) -> np.void:
        """The record of the machine cycle that began at ``t``; there must be one."""
        found: np.void = self._up_to(t)[-1]
        return found

    def _up_to(self, t: int) -> NDArray[np.void]:
        """The same, with the record before it if there is one."""
        trace = self._history.machine.trace
        if len(trace) and trace[0]["t"] <= t:
            place = int(np.searchsorted(trace.columns()["t"], t))
            return trace.at(np.arange(max(0, place - 1), place + 1))
        with self._history.staying():
            begin, _ = next(self.stretches(t + 1))
            self.begin(begin, t + 1)
            return trace.last(2)

    def last_shortly_before(self, picks: Picks, t: int) -> Found:
        """The same as :meth:`last` of one record that most likely began shortly before ``t``."""
        found, _ = self._on_trace(picks, 1, t)
        if found is not None or not self._history.machine.trace.forgotten:
            return found
        with self._history.staying():
            begin, _ = next(self.stretches(t))
            self.begin(begin, t)
            found, _ = self._on_trace(picks, 1, t)
        return found if found is not None else self.last(picks, 1, t)

    @property
    def _oldest_t(self) -> int:
        """When the machine cycle after the oldest on the trace began."""
        trace = self._history.machine.trace
        return int(trace[1]["t"]) if len(trace) > 1 else self._history.machine.t

    def stretches(
        self, end: int, after: int = -1, wanted: Wanted | None = None
    ) -> Iterator[tuple[int, int]]:
        """Beginnings and ends, in T-states, from snapshot to snapshot, backwards.

        Those that can have nothing of ``wanted`` are left out.
        """
        for stretch in self.all_stretches(end, after):
            if wanted is None or wanted.may_be_in(stretch):
                yield stretch.begin, stretch.end

    def all_stretches(self, end: int, after: int = -1) -> Iterator[Stretch]:
        """The same of all of them, with what is known of each."""
        machine, snapshots = self._history.machine, self._history.snapshots
        entries = self._history.journal.entries
        put = [each.t for each in entries if each.deed.kind in ("poke", "program")]
        for snapshot in (kept.snapshot for kept in reversed(snapshots)):
            if snapshot.t < end:
                yield Stretch(
                    begin=snapshot.t,
                    end=end,
                    touched=snapshots.touched_from(snapshot.t),
                    is_put_into=any(snapshot.t <= t <= end for t in put),
                    memory=snapshot.memory,
                    chips=machine.board.chip_cells,
                    pull_ups=machine.board.description.pull_ups,
                    lines=snapshot.lines,
                )
                end = snapshot.t
            if end <= after:
                return

    def pieces(self, begin: int, end: int) -> Iterator[Piece]:
        """All records that began from a snapshot's moment on and before ``end``, made anew."""
        history = self._history
        machine, trace = history.machine, history.machine.trace
        before = self.begin(begin, begin)
        is_first = True
        while machine.t < end:
            first = trace.total
            history.run_to(min(end, machine.t + SHORTEST * trace.size // 2))
            records = np.concatenate((before, trace.last(trace.total - first)))
            yield Piece(records[: np.searchsorted(records["t"], end)], is_first)
            before, is_first = records[-1:], False

    # --- within the block of History.staying -----------------------------------------

    def begin(self, begin: int, since: int) -> NDArray[np.void]:
        """Be at a moment, by way of that of a snapshot; the record of before the snapshot."""
        before = self._history.be_at_snapshot(begin)
        if self._history.machine.t < begin:  # that snapshot has been dropped meanwhile
            self._history.run_to(begin)
            before = self._history.machine.trace.last(1)
        self._history.run_to(since)
        return before

    def last_hit(self, stops: list[Stop], begin: int, end: int, since: int = -1) -> int:
        """When the last machine cycle of a stretch began that one of these stops hit.

        Args:
            since: earlier ones do not count.

        Returns:
            T-state, or -1 for none.
        """
        self._begin_counting(stops, begin, since)
        self._history.run_to(end)
        return max((-1 if stop.last_t is None else stop.last_t for stop in stops), default=-1)

    def first_hit(self, stops: list[Stop], begin: int, end: int, since: int) -> Found:
        """The record of the first machine cycle from a moment on that one of these stops hits."""
        self._begin_counting(stops, begin, since)
        if not self._history.run_to_stop(end):
            return None
        record: np.void = self._history.machine.trace.last(1)[0]
        return record

    def _begin_counting(self, stops: list[Stop], begin: int, since: int) -> None:
        self.begin(begin, max(begin, since))
        for stop in stops:
            stop.counts = stop.none_counted

    # --- on the trace, or in a stretch made anew -------------------------------------------

    def _on_trace(self, picks: Picks, count: int, before: int) -> tuple[Found, int]:
        """The same on the trace; or how many are still to be found in what is older."""
        trace = self._history.machine.trace
        columns = trace.columns()
        places = picks(columns)
        if trace.forgotten:  # what came before the oldest record is not known here
            places = places[places > 0]
        places = places[: np.searchsorted(columns["t"][places], before)]
        if len(places) < count:
            return None, count - len(places)
        record: np.void = trace.at(places[-count:])[0]
        return record, 0

    def _in_stretch(self, begin: int, end: int, picks: Picks, count: int) -> tuple[Found, int]:
        kept: list[NDArray[np.void]] = []
        held = total = 0
        for records, _ in self.pieces(begin, end):
            places = picks(Columns(records))
            kept.append(records[places[places > 0]])
            held, total = held + len(kept[-1]), total + len(kept[-1])
            while held - len(kept[0]) >= count:  # nobody will ask for those
                held -= len(kept.pop(0))
        if total < count:
            return None, count - total
        return np.concatenate(kept)[-count], 0


def _may_be_reset(step: Step) -> bool:
    if step.lines_only:
        return bool((step.line_mask | step.edge_mask) & Line.RESET_OUT)
    return Cycle.RESET in step.types


def _met(conditions: list[Condition]) -> Picks:
    """Cycles that met any of some conditions without passes and sequences."""

    def picks(records: Columns) -> NDArray[np.intp]:
        found = [find(condition, records) for condition in conditions]
        return np.unique(np.concatenate(found)) if found else np.empty(0, np.intp)

    return picks
