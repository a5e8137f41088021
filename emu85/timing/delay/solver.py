"""The shortest code that takes a wanted number of T-states.

All code of one kind is tried by its size in bytes: padding, or a nest of loops that count
down (:mod:`emu85.timing.delay.loops`) with padding before it and in each of its bodies.  For
a nest and the bytes of padding the counts follow by division: what the loops take must be a
multiple of the outer count, the rest of a pass must be what the inner loop takes, and so on.
So each size costs little, and the first that fits is the shortest there is.
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from emu85.timing.delay.costs import NO_WAITS, Waits, named, t_states
from emu85.timing.delay.loops import USUAL, Counter, Level, Nest, Nests
from emu85.timing.delay.padding import Padding, paddings

_MOST_PADDING = 12
"""Bytes of it; what cannot be hit exactly with so many is too short for a loop."""


class Use(enum.Enum):
    """How the code is used, and so what counts."""

    ROUTINE = "routine"
    """It is called: the CALL and the RET count."""
    INLINE = "inline"
    """It stands where it is wanted, and uses no stack."""


@dataclass(frozen=True, slots=True)
class Loop:
    """One loop of the solution: its counter, passes, and the padding in its body."""

    level: Level
    passes: int
    padding: Padding


@dataclass(frozen=True, slots=True)
class Plan:
    """Code that takes :attr:`t_states`.

    Attributes:
        use, waits: as asked for.
        head: padding before the loops.
        loops: outermost first.
    """

    use: Use
    waits: Waits
    head: Padding
    loops: tuple[Loop, ...]

    @property
    def call(self) -> int:
        """T-states of CALL and RET, 0 if it is not called."""
        return _call(self.use, self.waits)

    @property
    def times(self) -> list[int]:
        """T-states of each loop from the loading of its counter on, outermost first."""
        found = [0]
        for loop in reversed(self.loops):
            found.append(loop.level.whole(loop.passes, loop.padding.t + found[-1]))
        return found[:0:-1]

    @property
    def t_states(self) -> int:
        """What it takes."""
        return self.call + self.head.t + (self.times or [0])[0]

    @property
    def size(self) -> int:
        """Bytes, the CALL left out."""
        parts = [self.head, *(loop.padding for loop in self.loops)]
        padding = sum(filler.size for part in parts for filler in part.fillers)
        loops = sum(loop.level.size for loop in self.loops)
        return padding + loops + (named("RET").length if self.use is Use.ROUTINE else 0)


def solve(
    wanted: int, use: Use = Use.ROUTINE, waits: Waits = NO_WAITS, nests: Nests = USUAL
) -> Plan:
    """The shortest code that takes ``wanted`` T-states, or as near to it as can be.

    Args:
        nests: the loops that may be used.

    Raises:
        ValueError: it is out of reach.
    """
    low, high = reach(use, waits, nests)
    if not low <= wanted <= high:
        raise ValueError(f"{wanted} T-states are not in {low} to {high}")
    for error in range(high - low + 1):
        for t in dict.fromkeys((wanted + error, wanted - error)):
            if low <= t <= high and (found := _exact(t, use, waits, nests)):
                return found
    raise AssertionError("the least reach is a solution")  # pragma: no cover


def reach(use: Use, waits: Waits, nests: Nests) -> tuple[int, int]:
    """The least and the most T-states, without padding in loops."""
    call = _call(use, waits)
    least = min(_whole(nest, waits, lambda _: 1) for nest in nests)
    most = max(_whole(nest, waits, lambda counter: counter.most) for nest in nests)
    return call + least or t_states(named("NOP"), waits), call + most


def _whole(nest: Nest, waits: Waits, passes: Callable[[Counter], int]) -> int:
    """T-states of a nest with so many passes of each of its counters."""
    t = 0
    for counter in reversed(nest):
        t = Level(counter, waits).whole(passes(counter), t)
    return t


def _call(use: Use, waits: Waits) -> int:
    if use is Use.INLINE:
        return 0
    return t_states(named("CALL"), waits) + t_states(named("RET"), waits)


def _exact(t: int, use: Use, waits: Waits, nests: Nests) -> Plan | None:
    searches = [_Search(nest, use, waits) for nest in nests]
    rest = t - _call(use, waits)
    sizes = {search.size for search in searches}
    for size in range(min(sizes), max(sizes) + _MOST_PADDING + 1):
        for search in searches:
            extra = size - search.size
            if not 0 <= extra <= _MOST_PADDING:
                continue
            for head, loops in search.solutions(rest, extra):
                return Plan(use, waits, head, loops)
    return None


class _Search:
    """What one nest can do."""

    def __init__(self, nest: Nest, use: Use, waits: Waits) -> None:
        self._waits = waits
        self._stack = use is Use.ROUTINE
        self._levels = [Level(counter, waits) for counter in nest]
        self.size = sum(level.size for level in self._levels)
        a = {"A"} if any(counter.is_pair for counter in nest) else set()
        self._free = [
            frozenset(a.union(*(counter.registers for counter in nest[depth:])))
            for depth in range(len(nest) + 1)
        ]

    def solutions(self, t: int, extra: int) -> Iterator[tuple[Padding, tuple[Loop, ...]]]:
        """Ways to take ``t`` T-states with just so many bytes of padding."""
        for used in range(extra + 1):
            for head in self._paddings(0, used):
                for loops in self._inside(0, t - head.t, extra - used):
                    yield head, loops

    def _inside(self, depth: int, t: int, extra: int) -> Iterator[tuple[Loop, ...]]:
        """Loops from a depth on that take ``t`` T-states."""
        if depth == len(self._levels):
            if t == 0 and extra == 0:
                yield ()
            return
        level = self._levels[depth]
        product = t - level.load + level.taken - level.not_taken
        if depth + 1 == len(self._levels):
            for padding in self._paddings(depth + 1, extra):
                passes, rest = divmod(product, padding.t + level.step)
                if rest == 0 and 1 <= passes <= level.counter.most:
                    yield (Loop(level, passes, padding),)
            return
        for passes in _divisors(product, level.counter.most):
            for used in range(extra + 1):
                for padding in self._paddings(depth + 1, used):
                    inner = product // passes - padding.t - level.step
                    for loops in self._inside(depth + 1, inner, extra - used):
                        yield (Loop(level, passes, padding), *loops)

    def _paddings(self, depth: int, size: int) -> tuple[Padding, ...]:
        return paddings(size, self._free[depth], self._stack, self._waits)


@lru_cache(maxsize=4096)
def _divisors(product: int, most: int) -> tuple[int, ...]:
    if product <= 0:
        return ()
    trial = np.arange(1, min(product, most) + 1)
    return tuple((trial[product % trial == 0]).tolist())
