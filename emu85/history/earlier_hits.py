"""When a sequence would have hit last, had it been armed at power-on.

How far it is at a moment follows from all that came before.  Where its steps are met all
the time, few machine cycles decide it: the last stretches are run through from each step
that could be looked for at once, until all lead to the same last hit.  Else it is followed
from power-on; a stretch that cannot have the step that is looked for need not be run
through.  How far it was at each snapshot is kept there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from emu85.history.wanted import Stretch, of_each_step
from emu85.stops import Condition, Progress, Stop

if TYPE_CHECKING:
    from emu85.history.history import History
    from emu85.history.seeking import Seeker

_FEW = 12
"""States of a stop that are followed at once, at most."""
_LATE = 3
"""Stretches that are run through backwards, at most."""

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
        self._steps = of_each_step(condition)

    def last(self, before: int) -> int:
        """When the last machine cycle before a T-state began that it would have hit.

        Returns:
            T-state, or -1 for none.
        """
        hit = self._sought(before)
        return self._followed(before) if hit is None else hit

    def _may_be_met(self, step: int, stretch: Stretch) -> bool:
        wanted = self._steps[step]
        return wanted is None or wanted.may_be_in(stretch)

    def _sought(self, before: int) -> int | None:
        """The same from a few late stretches alone; None if they do not tell."""
        states = [
            Progress(number, seen)
            for number, step in enumerate(self._condition.steps)
            for seen in range(step.passes + 1)
        ]
        if len(states) > _FEW:
            return None
        steps = range(len(self._steps))
        hits = dict.fromkeys(states, -1)  # of all that has been looked at, by its beginning
        left = _LATE
        with self._history.staying([self._condition] * len(states)) as stops:
            for stretch in list(self._seeker.all_stretches(before)):
                met = [self._may_be_met(step, stretch) for step in steps]
                # Where nothing has hit yet, it is no matter how far it is at the beginning of
                # a stretch that cannot have the last step.
                if not any(met) or (not met[-1] and len(set(hits.values())) == 1):
                    continue
                if not left:
                    return None
                left -= 1
                ends = self._run_through(stretch, states, stops)
                hits = {
                    state: hit if hits[then] < 0 else hits[then]
                    for state, (then, hit) in ends.items()
                }
                if len(set(hits.values())) == 1 and hits[_FIRST] >= 0:
                    break
        return hits[_FIRST]

    def _followed(self, before: int) -> int:
        """The same from what came before them."""
        snapshots, here = self._history.snapshots, self._condition
        begun = [kept.snapshot for kept in snapshots if kept.snapshot.t <= before]
        known = next((each for each in reversed(begun) if here in each.sought), None)
        progress, last = known.sought[here] if known else (_FIRST, -1)
        stretches = list(self._seeker.all_stretches(before, known.t if known else -1))
        with self._history.staying([self._condition]) as stops:
            for stretch in reversed(stretches):
                if self._may_be_met(progress.step, stretch):
                    ends = self._run_through(stretch, [progress], stops)
                    progress, hit = ends[progress]
                    last = max(last, hit)
                snapshot = snapshots.at(stretch.end)
                if snapshot:
                    snapshot.sought[here] = progress, last
        return last

    def _run_through(
        self, stretch: Stretch, states: list[Progress], stops: list[Stop]
    ) -> dict[Progress, _End]:
        """How a stretch ends, for each state at its beginning."""
        self._seeker.begin(stretch.begin, stretch.begin)
        for stop, state in zip(stops, states, strict=True):
            stop.counts = stop.none_counted
            stop.progress = state
        self._history.run_to(stretch.end)
        return {
            state: _End(stop.progress, -1 if stop.last_t is None else stop.last_t)
            for stop, state in zip(stops, states, strict=True)
        }
