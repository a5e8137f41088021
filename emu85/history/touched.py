"""What was touched on the bus in a stretch of the past, so that others need no search.

For each memory address and port, and each of OF, MR, MW, IOR and IOW: whether there was
such a cycle, and whether a write left another byte.  The loop tells it by bits of the map
(``cpu.layout.UNTOUCHED_SHIFT``).  And which lines have changed, which other types of cycles
there were, and whether there was a finding (``cpu.layout.State.MOVED``).  In doubt more is
taken for touched than was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.bus.lines import Line
from emu85.cpu.layout import (
    MOVED_TOLD,
    MOVED_TYPES,
    SPACE,
    TYPES_TOLD,
    UNTOUCHED_BITS,
    UNTOUCHED_SHIFT,
    UNTOUCHED_TYPES,
    WATCH_SHIFT,
    State,
)
from emu85.stops import Condition, Step
from emu85.stops.tables import watch_map

_CYCLES = (1 << UNTOUCHED_TYPES) - 1
_ALTERED = 1 << UNTOUCHED_TYPES
_KNOWN = _CYCLES | _ALTERED


@dataclass(frozen=True, slots=True, eq=False)
class Touched:
    """What was touched, or any of what is looked for.

    Attributes:
        cycles: uint8, for each map index a bit for each cycle type and one for another
            byte, ``SPACE`` of them.
        lines: bits of a lines word, those of ``MOVED_TOLD``, and of cycle types above.
    """

    cycles: NDArray[np.uint8]
    lines: int

    def __or__(self, other: Touched) -> Touched:
        return Touched(self.cycles | other.cycles, self.lines | other.lines)

    def has(self, wanted: Touched) -> bool:
        """Whether any of what is looked for was touched."""
        return bool(self.lines & wanted.lines) or bool((self.cycles & wanted.cycles).any())


def nothing_touched() -> Touched:
    """As long as nothing has been done."""
    return Touched(np.zeros(SPACE, np.uint8), 0)


def begin(words: NDArray[np.int64], state: memoryview[int]) -> None:
    """From now on nothing has been touched.

    A line that has changed since the last machine cycle is seen to change in the next.

    Args:
        words: the board's map.
        state: the state vector.
    """
    words |= np.int64(UNTOUCHED_BITS)
    state[State.MOVED] = (state[State.LINES] ^ state[State.PREVIOUS]) & MOVED_TOLD


def touched(words: NDArray[np.int64], state: memoryview[int]) -> Touched:
    """What has been touched since :func:`begin`."""
    cycles = (words >> UNTOUCHED_SHIFT & _KNOWN ^ _KNOWN).astype(np.uint8)
    return Touched(cycles, int(state[State.MOVED]))


def of_steps(conditions: list[Condition]) -> Touched | None:
    """What must be touched (any of it) for one of some conditions to be met in its last step.

    None if that cannot be told: a step that looks at other lines only.
    """
    steps = [condition.steps[-1] for condition in conditions]
    lines = [_lines_of(step) for step in steps]
    others = [step for step, moved in zip(steps, lines, strict=True) if not moved]
    if not all(map(_is_told, others)):
        return None
    words = np.zeros(SPACE, np.int64)
    watch_map(others, words)
    cycles = (words >> WATCH_SHIFT & _CYCLES).astype(np.uint8)
    types = {kind for step in others for kind in step.types} & TYPES_TOLD
    of_types = sum(1 << MOVED_TYPES + kind for kind in types)
    return Touched(cycles, int(np.bitwise_or.reduce([of_types, *lines])))


def _lines_of(step: Step) -> int:
    """Lines one of which must have moved for a step to be met; 0 if that says nothing."""
    if step.finding:
        return int(Line.FINDING)
    if step.edge_mask & MOVED_TOLD:
        return step.edge_mask & MOVED_TOLD
    # Levels alone are met when they come true.
    is_told = step.lines_only and not step.line_mask & ~MOVED_TOLD
    return step.line_mask if is_told else 0


def of_alterations(addresses: NDArray[np.intp]) -> Touched:
    """What is touched by a write that leaves another byte at one of these addresses."""
    wanted = nothing_touched()
    wanted.cycles[addresses] = _ALTERED
    return wanted


def _is_told(step: Step) -> bool:
    return bool(step.types)
