"""Things that devices have said shall happen at a T-state.

A device never polls: it asks to be called at a deadline, and the machine runs
the core in one burst up to the nearest one.  Events of one T-state run in the
order in which they were asked for, so that every run is the same.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

Moment = Fraction | int
"""A T-state or an exact moment between two.  Whole ones are integers where many are
reckoned with, since fractions are slow."""

NEVER = 1 << 62
"""A deadline later than any machine will reach, in T-states."""


@dataclass(slots=True, eq=False)
class Event:
    """One thing to happen; keep it to be able to :meth:`cancel` it."""

    t: int
    action: Callable[[], None]
    cancelled: bool = False

    def cancel(self) -> None:
        """Make sure that it does not happen."""
        self.cancelled = True


class Schedule:
    """The events to come.

    Attributes:
        now: T-state at which devices are being asked; while an event runs it is
            the event's own T-state.
        next_t: T-state of the nearest event, or :data:`NEVER`.
    """

    def __init__(self) -> None:
        self.now = 0
        self.next_t = NEVER
        self._heap: list[tuple[int, int, Event]] = []  # tuples compare without Python
        self._order = 0

    def at(self, t: int, action: Callable[[], None]) -> Event:
        """Have ``action`` called at T-state ``t`` (an integer, not before ``now``)."""
        if t < self.now:
            t = self.now
        event = Event(t, action)
        self.again(event, t)
        return event

    def again(self, event: Event, t: int) -> None:
        """Have an event that is not to come, as it has happened, happen at ``t``.

        Not before ``now``.

        A clock's edges are so many that an event for each would cost as much as they do.
        """
        event.t = t
        self._order += 1
        heapq.heappush(self._heap, (t, self._order, event))
        if t < self.next_t:
            self.next_t = t

    def after(self, t_states: int, action: Callable[[], None]) -> Event:
        """Have ``action`` called ``t_states`` T-states from ``now``."""
        return self.at(self.now + t_states, action)

    def run_until(self, t: int) -> None:
        """Run every event that is due before T-state ``t``; ``now`` becomes ``t``."""
        heap = self._heap
        while self.next_t < t:
            at, _, event = heapq.heappop(heap)
            self.next_t = heap[0][0] if heap else NEVER
            if not event.cancelled:
                self.now = at
                event.action()
        if heap and heap[0][2].cancelled:
            self._drop_cancelled()
        self.now = t

    def clear(self) -> None:
        """Forget every event."""
        self._heap.clear()
        self.next_t = NEVER

    def _drop_cancelled(self) -> None:
        heap = self._heap
        while heap and heap[0][2].cancelled:
            heapq.heappop(heap)
        self.next_t = heap[0][0] if heap else NEVER


def nearest_t(t: Moment) -> int:
    """The T-state nearest to an exact moment, half up."""
    if t.denominator == 1:
        return t.numerator
    return (2 * t.numerator + t.denominator) // (2 * t.denominator)
