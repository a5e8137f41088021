"""A way that was gone step by step, its passes of loops folded for people to read."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from functools import reduce

from emu85.timing.duration.ways import NO_WAY, Way

_LONGEST = 64
"""Steps of a pass that is looked for."""


def folded(way: Way) -> Way:
    """The same way, what is gone several times in a row put together, inner loops first."""
    numbers: dict[Hashable, int] = {}
    items = _items(way)
    keys = [numbers.setdefault(_key(item), len(numbers)) for item in items]
    size = 1
    while size <= min(_LONGEST, len(items) // 2):
        before = len(items)
        items, keys = _fold(items, keys, numbers, size)
        size = size + 1 if len(items) == before else 1
    return reduce(Way.then, items, NO_WAY)


def _items(way: Way) -> list[Way]:
    """Its steps, and what is folded already, in order."""
    found: list[Way] = []
    waiting = [way]
    while waiting:
        top = waiting.pop()
        if top.step is not None or top.passes > 1:
            found.append(top)
        else:
            waiting.extend(reversed(top.parts))
    return found


def _key(item: Way) -> Hashable:
    return id(item) if item.step is None else item.step


def _fold(
    items: Sequence[Way], keys: Sequence[int], numbers: dict[Hashable, int], size: int
) -> tuple[list[Way], list[int]]:
    """Fold passes of so many items."""
    found: list[Way] = []
    found_keys: list[int] = []
    at = 0
    while at < len(items):
        passes = _passes(keys, at, size)
        if passes == 1:
            found.append(items[at])
            found_keys.append(keys[at])
            at += 1
            continue
        one = reduce(Way.then, items[at : at + size], NO_WAY)
        key = passes, tuple(keys[at : at + size])
        found.append(one.times(passes))
        found_keys.append(numbers.setdefault(key, len(numbers)))
        at += size * passes
    return found, found_keys


def _passes(keys: Sequence[int], at: int, size: int) -> int:
    """How often the items that begin there come in a row."""
    end = at + size
    if end >= len(keys) or keys[at] != keys[end]:
        return 1
    passes = 1
    while keys[at:end] == keys[at + passes * size : end + passes * size]:
        passes += 1
    return passes
