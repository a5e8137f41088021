"""What the user's stops had seen at each moment: their hits, passes and sequences.

A stop counts from the moment at which it was armed.  Where the board is put before that,
it begins anew there, and counts from there if the board then runs on: within what it ran
through like that, moments have what was counted from there.  If it runs on to where the
stop was armed, it is as if that had been done where it began anew.

A stop that rests stays as it is.  What one on no list has counted (a pace's own, say) is
no matter of moments: it stays as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.stops import Stop, StopSet

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Beginning:
    """From when on a stop counts; ``t`` in T-states, ``counts`` those that it began with."""

    t: int
    counts: Counts


class Visit(NamedTuple):
    """A stay before the moment at which a stop was armed; ``until`` in T-states."""

    beginning: Beginning
    until: int


Then = dict[Beginning, Counts]
"""What armed stops had counted at a moment, by when they began to."""


class StopsThen:
    """Knows the beginnings of every stop of the user's that is armed."""

    def __init__(self) -> None:
        self._armed: dict[Stop, Beginning] = {}
        self._visits: dict[Stop, Visit] = {}
        self._present: dict[Stop, Beginning] = {}
        self._armings: dict[Stop, int] = {}

    def forget(self) -> None:
        """Power has come on: all of them begin anew."""
        self._armed.clear()
        self._visits.clear()
        self._present.clear()

    def notice(self, stops: StopSet, t: int) -> None:
        """Stops armed since the last time begin at ``t``, the moment at which they were."""
        armed = _armed(stops)
        for stop in [stop for stop in self._present if stop not in armed]:
            del self._present[stop], self._armed[stop]
            self._visits.pop(stop, None)
        for stop in armed:
            if stop not in self._present or self._armings[stop] != stop.armings:
                self._armings[stop] = stop.armings
                self._armed[stop] = self._present[stop] = Beginning(t, stop.counts)
                self._visits.pop(stop, None)

    def now(self) -> Then:
        """What they have counted now."""
        return {beginning: stop.counts for stop, beginning in self._present.items()}

    def now_and(self, then: Then) -> Then:
        """The same, and what was known before of this moment and still matters."""
        visited = (visit.beginning for visit in self._visits.values())
        live = {*self._armed.values(), *visited}
        return {b: counts for b, counts in then.items() if b in live} | self.now()

    def ran_on(self, t: int) -> None:
        """The machine has run on to ``t``, by the user's will."""
        for stop, present in self._present.items():
            armed, visit = self._armed[stop], self._visits.get(stop)
            if visit is None or visit.beginning is not present:
                continue
            if t >= armed.t:
                self._armed[stop] = self._visits.pop(stop).beginning
            else:
                self._visits[stop] = visit._replace(until=max(visit.until, t))

    def since(self, stop: Stop) -> int:
        """From when on it has counted what it has now, in T-states."""
        return self._present[stop].t

    @property
    def beginnings(self) -> dict[Stop, Beginning]:
        """From when on each of them has counted what it has now."""
        return dict(self._present)

    def know(self, beginnings: Mapping[Stop, Beginning]) -> None:
        """These stops have counted from there on."""
        for stop, beginning in beginnings.items():
            self._armings[stop] = stop.armings
            self._armed[stop] = self._present[stop] = beginning

    # --- going to a moment --------------------------------------------------------------

    def can_start(self, then: Then, then_t: int, t: int) -> bool:
        """Whether a run from ``then_t`` tells what all of them have counted at ``t``."""
        for stop in self._present:
            beginning = self._at(stop, t)
            if beginning and beginning.t < then_t and beginning not in then:
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
                stop.counts = then[beginning]
        return sorted(moments)

    def begin(self, t: int) -> None:
        """The machine is at ``t``: what begins there begins."""
        for stop, beginning in self._present.items():
            if beginning.t == t:
                stop.counts = beginning.counts

    def _at(self, stop: Stop, t: int) -> Beginning | None:
        """That from which it has counted at ``t``; None if it begins anew there."""
        if self._armed[stop].t <= t:
            return self._armed[stop]
        visit = self._visits.get(stop)
        return visit.beginning if visit and visit.beginning.t <= t <= visit.until else None

    def _begin_at(self, stop: Stop, t: int) -> Beginning:
        beginning = Beginning(t, stop.none_counted)
        self._visits[stop] = Visit(beginning, t)
        return beginning

    def put_back(self, then: Then) -> None:
        """All of them have counted what they had."""
        for stop, beginning in self._present.items():
            stop.counts = then[beginning]

    # --- as a whole ----------------------------------------------------------------------

    def kept(self) -> StopsThen:
        """A copy, to be put in its place later."""
        copy = StopsThen()
        copy._armed, copy._visits = dict(self._armed), dict(self._visits)
        copy._present, copy._armings = dict(self._present), dict(self._armings)
        return copy


def _armed(stops: StopSet) -> dict[Stop, None]:
    return {stop: None for stop in stops if stop.armed and stop.owner == "user"}
