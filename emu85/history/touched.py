"""What was touched on the bus in a stretch of the past, so that others need no search.

For each memory address and port, and each of OF, MR, MW, IOR and IOW: whether there was
such a cycle.  The loop tells it by bits of the map (``cpu.layout.UNTOUCHED_SHIFT``).  In
doubt more is taken for touched than was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.cpu.layout import (
    SPACE,
    UNTOUCHED_BITS,
    UNTOUCHED_SHIFT,
    UNTOUCHED_TYPES,
    WATCH_SHIFT,
)
from emu85.stops import Condition, Step
from emu85.stops.tables import watch_map

Touched = NDArray[np.uint8]
"""For each map index a bit for each cycle type, ``SPACE`` of them."""

_KNOWN = (1 << UNTOUCHED_TYPES) - 1


def nothing_touched() -> Touched:
    """As it is at power-on."""
    return np.zeros(SPACE, np.uint8)


def begin(words: NDArray[np.int64]) -> None:
    """From now on nothing has been touched; ``words`` is the board's map."""
    words |= np.int64(UNTOUCHED_BITS)


def touched(words: NDArray[np.int64]) -> Touched:
    """What has been touched since :func:`begin`."""
    return (words >> UNTOUCHED_SHIFT & _KNOWN ^ _KNOWN).astype(np.uint8)


def of_steps(conditions: list[Condition]) -> Touched | None:
    """What must be touched (any of it) for one of some conditions to be met in its last step.

    None if that cannot be told: a step that looks at lines or findings, or at other types.
    """
    steps = [condition.steps[-1] for condition in conditions]
    if not all(map(_is_told, steps)):
        return None
    words = np.zeros(SPACE, np.int64)
    watch_map(steps, words)
    return (words >> WATCH_SHIFT & _KNOWN).astype(np.uint8)


def of_writes(addresses: NDArray[np.intp]) -> Touched:
    """What is touched by a write to one of these addresses."""
    wanted = np.zeros(SPACE, np.uint8)
    wanted[addresses] = 1 << Cycle.MW
    return wanted


def _is_told(step: Step) -> bool:
    return bool(step.types) and not step.finding and max(step.types) < UNTOUCHED_TYPES
