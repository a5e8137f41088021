"""Things that devices have said shall happen at a T-state.

A device never polls: it asks to be called at a deadline, and the machine runs
the core in one burst up to the nearest one.  Events of one T-state run in the
order in which they were asked for, so that every run is the same.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

NEVER = 1 << 62
"""A deadline later than any machine will reach, in T-states."""


@dataclass(order=True, slots=True)
class Event:
    """One thing to happen; keep it to be able to :meth:`cancel` it."""

    t: int
    order: int
    action: Callable[[], None] = field(compare=False)
    cancelled: bool = field(default=False, compare=False)

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
        self._heap: list[Event] = []
        self._order = 0

    def at(self, t: int, action: Callable[[], None]) -> Event:
        """Have ``action`` called at T-state ``t`` (an integer, not before ``now``)."""
        event = Event(max(t, self.now), self._order, action)
        self._order += 1
        heapq.heappush(self._heap, event)
        self.next_t = self._heap[0].t
        return event

    def after(self, t_states: int, action: Callable[[], None]) -> Event:
        """Have ``action`` called ``t_states`` T-states from ``now``."""
        return self.at(self.now + t_states, action)

    def run_until(self, t: int) -> None:
        """Run every event that is due before T-state ``t``; ``now`` becomes ``t``."""
        while self.next_t < t:
            event = heapq.heappop(self._heap)
            self._set_next()
            if not event.cancelled:
                self.now = event.t
                event.action()
        self._drop_cancelled()
        self.now = t

    def clear(self) -> None:
        """Forget every event."""
        self._heap.clear()
        self.next_t = NEVER

    def _drop_cancelled(self) -> None:
        while self._heap and self._heap[0].cancelled:
            heapq.heappop(self._heap)
        self._set_next()

    def _set_next(self) -> None:
        self.next_t = self._heap[0].t if self._heap else NEVER
