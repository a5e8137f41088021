"""What the user's stops had seen at each moment: their hits, passes and sequences.

A stop counts from the moment at which it was armed.  Where the board is put before that,
it begins anew there, and counts from there if the board then runs on; so a stop may have
several beginnings, and at any moment that is gone to it is as one that has counted from
the latest of them.  Running on past a later beginning does away with that.

A stop that rests stays as it is.  What one on no list has counted (a pace's own, say) is
no matter of moments: it stays as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.stops import Stop, StopSet

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Beginning:
    """From when on a stop counts; ``t`` in T-states, ``counts`` those that it began with."""

    t: int
    counts: Counts


Then = dict[Stop, tuple[Beginning, Counts]]
"""What armed stops had counted at a moment, and since when."""


class StopsThen:
    """Knows the beginnings of every stop of the user's that is armed."""

    def __init__(self) -> None:
        self._beginnings: dict[Stop, list[Beginning]] = {}
        self._present: dict[Stop, Beginning] = {}
        self._armings: dict[Stop, int] = {}

    def forget(self) -> None:
        """Power has come on: all of them begin anew."""
        self._beginnings.clear()
        self._present.clear()

    def notice(self, stops: StopSet, t: int) -> None:
        """Stops armed since the last time begin at ``t``, the moment at which they were."""
        armed = _armed(stops)
        for stop in [stop for stop in self._present if stop not in armed]:
            del self._present[stop], self._beginnings[stop]
        for stop in armed:
            if stop not in self._present or self._armings[stop] != stop.armings:
                self._armings[stop] = stop.armings
                beginning = self._present[stop] = Beginning(t, stop.counts)
                self._beginnings[stop] = [beginning]

    def now(self) -> Then:
        """What they have counted now."""
        return {stop: (beginning, stop.counts) for stop, beginning in self._present.items()}

    def ran_on(self, t: int) -> None:
        """The machine has run on to ``t``: beginnings on the way are none any more."""
        for stop, present in self._present.items():
            if len(self._beginnings[stop]) > 1:
                self._beginnings[stop] = [
                    each for each in self._beginnings[stop] if each.t <= present.t or each.t > t
                ]

    def count_from(self, stop: Stop, t: int, until: int) -> None:
        """Have a stop count from ``t`` on at all moments before ``until``."""
        old = self._beginnings[stop]
        first = old[0] if old[0].t == t else Beginning(t, stop.none_counted)
        self._beginnings[stop] = [first, *(each for each in old[1:] if each.t >= until)]
        if old[0].t >= until and old[0] is not first:
            self._beginnings[stop].insert(1, old[0])

    def since(self, stop: Stop) -> int:
        """From when on it has counted what it has now, in T-states."""
        return self._present[stop].t

    # --- going to a moment --------------------------------------------------------------

    def can_start(self, then: Then, then_t: int, t: int) -> bool:
        """Whether a run from ``then_t`` tells what all of them have counted at ``t``."""
        for stop in self._present:
            beginning = self._at(stop, t)
            known = then.get(stop)
            if beginning is None or beginning.t >= then_t:
                continue
            if known is None or known[0] is not beginning:
                return False
        return True

    def start(self, then: Then, then_t: int, t: int) -> list[int]:
        """Begin a run from ``then_t`` to ``t``.

        Returns:
            moments on the way, in order, at which :meth:`begin` is to be called; the last
            is ``t``.
        """
        moments = {t}
        for stop in self._present:
            beginning = self._at(stop, t) or self._begin_at(stop, t)
            self._present[stop] = beginning
            if beginning.t >= then_t:
                moments.add(beginning.t)
            else:
                stop.counts = then[stop][1]
        return sorted(moments)

    def begin(self, t: int) -> None:
        """The machine is at ``t``: what begins there begins."""
        for stop, beginning in self._present.items():
            if beginning.t == t:
                stop.counts = beginning.counts

    def _at(self, stop: Stop, t: int) -> Beginning | None:
        """The latest beginning at ``t`` or before."""
        return next((each for each in self._beginnings[stop][::-1] if each.t <= t), None)

    def _begin_at(self, stop: Stop, t: int) -> Beginning:
        beginning = Beginning(t, stop.none_counted)
        self._beginnings[stop].insert(0, beginning)
        return beginning

    # --- as a whole ----------------------------------------------------------------------

    def kept(self) -> StopsThen:
        """A copy, to be put in its place later."""
        copy = StopsThen()
        copy._beginnings = {stop: list(each) for stop, each in self._beginnings.items()}
        copy._present, copy._armings = dict(self._present), dict(self._armings)
        return copy


def _armed(stops: StopSet) -> dict[Stop, None]:
    return {stop: None for stop in stops if stop.armed and stop.owner == "user"}
