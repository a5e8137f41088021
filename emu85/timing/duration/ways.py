"""A way through code and what it takes: steps one after another, and passes of loops."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple


class Step(NamedTuple):
    """One instruction.

    Attributes:
        address: where it is.
        t: T-states, those of a routine that it calls included.
        jumps: whether its condition was met; None if it has none.
        called: T-states of the routine that it calls.
    """

    address: int
    t: int
    jumps: bool | None = None
    called: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A tree of steps; ``t`` T-states in all.

    Attributes:
        parts: ways one after another; a step alone has none.
        step: the step, if it is one.
        passes: how often the parts are gone, more than once for passes of a loop.
    """

    t: int
    parts: tuple[Way, ...] = ()
    step: Step | None = None
    passes: int = 1

    def then(self, other: Way) -> Way:
        """One after the other."""
        if not self.parts and self.step is None:
            return other
        if not other.parts and other.step is None:
            return self
        return Way(self.t + other.t, (self, other))

    def times(self, passes: int) -> Way:
        """The same so many times."""
        return NO_WAY if passes == 0 else Way(self.t * passes, (self,), passes=passes)

    def told(self) -> Iterator[Told]:
        """Its steps in order, those of a loop once."""
        waiting: list[tuple[Way, int] | Told] = [(self, 0)]
        while waiting:
            top = waiting.pop()
            if isinstance(top, Told):
                yield top
                continue
            way, depth = top
            if way.step is not None:
                yield Told(depth, way.step)
            if way.passes > 1:
                yield Told(depth, None, way.passes, way.parts[0].t)
                depth += 1
            waiting.extend((part, depth) for part in reversed(way.parts))


class Told(NamedTuple):
    """A step of a way; or, where that is None, passes that the steps one deeper are gone.

    ``pass_t`` is T-states of one.
    """

    depth: int
    step: Step | None
    passes: int = 1
    pass_t: int = 0


NO_WAY = Way(0)


class Both(NamedTuple):
    """The shortest way somewhere, and the longest; None if there is no longest."""

    least: Way
    most: Way | None

    def then(self, other: Both) -> Both:
        """One after the other."""
        most = None if self.most is None or other.most is None else self.most.then(other.most)
        return Both(self.least.then(other.least), most)

    def times(self, least: int, most: int | None) -> Both:
        """So many passes."""
        longest = None if most is None or (self.most is None and most) else self.most
        return Both(
            self.least.times(least),
            NO_WAY if most == 0 else None if longest is None else longest.times(most or 0),
        )

    def or_(self, other: Both | None) -> Both:
        """Whichever of two ways is shorter, and whichever is longer."""
        if other is None:
            return self
        most = None
        if self.most is not None and other.most is not None:
            most = max(self.most, other.most, key=lambda way: way.t)
        return Both(min(self.least, other.least, key=lambda way: way.t), most)


HERE = Both(NO_WAY, NO_WAY)
