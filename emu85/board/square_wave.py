"""A square wave and its edges, each at the T-state nearest to its moment.

The moments are exact, however long the wave runs; they are kept in whole parts of a
T-state, since fractions are slow and edges are asked for in every poll.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm


class SquareWave:
    """Periods that begin with a rise; the first begins at ``start``, before it there is no edge.

    Its edges have numbers too: edge ``2n`` begins period ``n``, edge ``2n + 1`` is the fall
    within it.

    Attributes:
        period: exact, in T-states.
        start: the moment of the first rise.
        high: how long it is high in each period.
    """

    def __init__(self, period: Fraction, start: Fraction, high: Fraction) -> None:
        self.period = period
        self.start = start
        self.high = high
        # Two parts to the smallest step, so that half a T-state is a whole number of them.
        self._t_state = 2 * lcm(period.denominator, start.denominator, high.denominator)
        self._period, self._rise, self._fall = (
            int(moment * self._t_state) for moment in (period, start, start + high)
        )

    def rise(self, number: int) -> Fraction:
        """The exact moment of a rising edge; the first is number 1, and 0 was a period before."""
        return self.start + (number - 1) * self.period

    def fall(self, number: int) -> Fraction:
        """The exact moment of the falling edge that follows rising edge ``number``."""
        return self.rise(number) + self.high

    def rises_by(self, t: int) -> int:
        """How many rising edges come up to and including T-state ``t``."""
        return self._edges_by(t, self._rise)

    def falls_by(self, t: int) -> int:
        """How many falling edges come up to and including T-state ``t``."""
        return self._edges_by(t, self._fall)

    def edge(self, number: int) -> int:
        """The T-state of an edge."""
        at = (self._fall if number % 2 else self._rise) + number // 2 * self._period
        return (2 * at + self._t_state) // (2 * self._t_state)

    def next_edge(self, t: int) -> int:
        """The number of the first edge after ``t``; edge 0 if the wave begins later."""
        return self.rises_by(t) + self.falls_by(t)

    def level_before(self, number: int) -> int:
        """The level that ends with an edge."""
        return number % 2

    def level(self, t: int) -> int:
        """The level once T-state ``t`` has begun; low before the first rise."""
        return int(self.rises_by(t) > self.falls_by(t))

    def _edges_by(self, t: int, first: int) -> int:
        # Half a T-state after t, edges are those of the next one: they are nearer to it.
        end = t * self._t_state + self._t_state // 2
        return max(0, -((first - end) // self._period))
