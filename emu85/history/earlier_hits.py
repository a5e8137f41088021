"""When a stop that passes by, or is a sequence, would have hit had it been armed at power-on.

What it would have counted at a moment follows from all that came before.  A stop of few
states is sought for backwards: a stretch is run through from each of them at once, until
all lead to the same last hit.  One of many (it passes by often) is followed forwards, and
what it has counted at each snapshot is kept there.  Either way stretches in which none of
its steps can be met need not be run through.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from emu85.history.wanted import of_any_step, of_last_steps
from emu85.stops import Condition, Progress, Stop

if TYPE_CHECKING:
    from emu85.history.history import History
    from emu85.history.seeking import Seeker

_FEW = 12
"""States that are followed at once, at most."""

_FIRST = Progress(0, 0)


class _End(NamedTuple):
    """How a stretch ended for one state at its beginning; ``hit`` in T-states, or -1."""

    progress: Progress
    hit: int


class EarlierHits:
    """Looks for them in a history's past."""

    def __init__(self, history: History, seeker: Seeker, condition: Condition) -> None:
        self._history = history
        self._seeker = seeker
        self._condition = condition
        self._any = of_any_step(condition)
        self._last = of_last_steps([condition])

    def last(self, before: int) -> int:
        """When the last machine cycle before a T-state began that it would have hit.

        Returns:
            T-state, or -1 for none.
        """
        states = [
            Progress(number, seen)
            for number, step in enumerate(self._condition.steps)
            for seen in range(step.passes + 1)
        ]
        if len(states) > _FEW:
            with self._history.staying([self._condition]) as stops:
                return self._followed(before, stops)
        with self._history.staying([self._condition] * len(states)) as stops:
            return self._sought(before, states, stops)

    def _sought(self, before: int, states: list[Progress], stops: list[Stop]) -> int:
        hits = dict.fromkeys(states, -1)  # of all that has been looked at, by its beginning
        with_hits = set(self._seeker.stretches(before, wanted=self._last))
        for begin, end in list(self._seeker.stretches(before, wanted=self._any)):
            is_alike = len(set(hits.values())) == 1
            if is_alike and (begin, end) not in with_hits:
                continue  # it ends in some state, and all of them come to the same
            ends = self._run_through(begin, end, states, stops)
            hits = {
                state: hit if hits[then] < 0 else hits[then] for state, (then, hit) in ends.items()
            }
            if len(set(hits.values())) == 1 and hits[_FIRST] >= 0:
                break
        return hits[_FIRST]

    def _followed(self, before: int, stops: list[Stop]) -> int:
        snapshots, here = self._history.snapshots, self._condition
        begun = [kept.snapshot for kept in snapshots if kept.snapshot.t <= before]
        known = next((each for each in reversed(begun) if here in each.sought), None)
        progress, last = known.sought[here] if known else (_FIRST, -1)
        after = known.t if known else -1
        for begin, end in reversed(list(self._seeker.stretches(before, after, self._any))):
            ends = self._run_through(begin, end, [progress], stops)
            progress, hit = ends[progress]
            last = max(last, hit)
            snapshot = snapshots.at(end)
            if snapshot:
                snapshot.sought[here] = progress, last
        return last

    def _run_through(
        self, begin: int, end: int, states: list[Progress], stops: list[Stop]
    ) -> dict[Progress, _End]:
        """How a stretch ends, for each state at its beginning."""
        self._seeker.begin(begin, begin)
        for stop, state in zip(stops, states, strict=True):
            stop.counts = stop.none_counted
            stop.progress = state
        self._history.run_to(end)
        return {
            state: _End(stop.progress, -1 if stop.last_t is None else stop.last_t)
            for stop, state in zip(stops, states, strict=True)
        }
