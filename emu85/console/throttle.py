"""Real time, wholly outside of machine time.

The machine knows T-states only.  A throttle says how many of them may be run in
one go and how long to wait before the next go, so that board time passes at a
chosen factor of the wall clock.  It touches nothing inside the machine: the
same run with another throttle gives the same trace.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from random import Random

_SLICE = 0.02
"""Seconds of wall time that one slice should take, so that keys are answered at once."""
_FIRST = 20_000
_FEWEST = 100
_MOST = 50_000_000
_LEAST_PART = 0.4
"""Of a slice, where they are uneven."""
_LAG = 0.25
"""Seconds by which board time may fall behind before the throttle forgives it."""


class Throttle:
    """Keeps board time to a factor of real time.

    Args:
        factor: board seconds to a wall second; None for no bounds.
        clock_hz: T-states a second of board time.
        clock: the wall clock, in seconds.

    Attributes:
        is_uneven: slices differ in length.  Who looks at the board between even ones sees it
            as a strobe would show it: with a tick that fits into them a number of times,
            always at the same place of its program.
    """

    def __init__(
        self,
        factor: float | None,
        clock_hz: float,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        self.factor = factor
        self.clock_hz = clock_hz
        self._clock = clock
        self._budget = _FIRST
        self._anchor = (0.0, 0)
        self._began = (0.0, 0)
        self.is_uneven = False
        self._random = Random("slices")

    def begin(self, t: int) -> None:
        """Board time ``t`` (T-states) is now."""
        self._anchor = (self._clock(), t)

    def slice_begins(self, t: int) -> int:
        """How many T-states to run in the slice that begins at ``t``."""
        self._began = (self._clock(), t)
        even = self._even_slice()
        if not self.is_uneven:
            return even
        return max(1, round(even * self._random.uniform(_LEAST_PART, 1)))

    def _even_slice(self) -> int:
        if self.factor is None:
            return self._budget
        in_real_time = int(self.clock_hz * self.factor * _SLICE)
        return max(1, min(self._budget, in_real_time))

    def slice_ended(self, t: int) -> float:
        """Seconds to wait now that the slice has ended at ``t``."""
        now = self._clock()
        self._learn(now - self._began[0], t - self._began[1])
        if self.factor is None:
            return 0.0
        wall, t_states = self._anchor
        wait = wall + (t - t_states) / (self.clock_hz * self.factor) - now
        if wait < -_LAG:
            self.begin(t)
        return max(0.0, wait)

    def _learn(self, took: float, ran: int) -> None:
        """Fit the budget to what the machine manages, at most doubling at a time."""
        least = _LEAST_PART if self.is_uneven else 0.5
        if ran < int(self._budget * least):
            return
        fitting = int(ran * _SLICE / took) if took > 0 else _MOST
        self._budget = max(_FEWEST, min(fitting, self._budget * 2, _MOST))


def speed_text(factor: float | None) -> str:
    """A speed as ``speed`` takes it."""
    if factor is None:
        return "off"
    return "real" if factor == 1.0 else f"{factor:g}"
