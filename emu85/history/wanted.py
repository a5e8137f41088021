"""What a stop or a search looks for, and whether a stretch of the past can have it.

A stretch is known by what it has touched (:mod:`emu85.history.touched`) and by the snapshot
at its beginning.  A byte that was read from memory stood there at the beginning, or was
written meanwhile where another byte was left.  In doubt the stretch can have it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import (
    INDEX_MASK,
    IO_BASE,
    MOVED_TOLD,
    MOVED_TYPES,
    SPACE,
    TYPES_TOLD,
    UNTOUCHED_TYPES,
    WATCH_SHIFT,
    MapBit,
)
from emu85.history.touched import ALTERED, Touched
from emu85.stops import Condition, Step
from emu85.stops.tables import accepted_data, watch_map

_CYCLES = (1 << UNTOUCHED_TYPES) - 1
_OPCODES_AND_READS = 1 << Cycle.OF | 1 << Cycle.MR
_WRITES = 1 << Cycle.MW


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A stretch of the past.

    Attributes:
        begin, end: its moments, in T-states.
        touched: what was touched in it.
        is_put_into: whether somebody has put bytes into memory by hand.
        memory: gives the store and the map as they were at the beginning.
        chips: cells of the store below this are those of memory chips.
        pull_ups: what a floating bus reads as.
        lines: levels at the beginning, bits of a lines word.
    """

    begin: int
    end: int
    touched: Touched
    is_put_into: bool
    memory: Callable[[], tuple[NDArray[np.uint16], NDArray[np.int64]]]
    chips: int
    pull_ups: int
    lines: int


class _Bytes(NamedTuple):
    """Cycles of some types and addresses with some data bytes.

    Attributes:
        cycles: uint8, ``SPACE``, bits of cycle types as in ``Touched.cycles``.
        types: of cycles that have no address, as ``State.MOVED`` has them.
        data: bool, 256.
        mask, levels: bits of a lines word that must be as in ``levels``.
    """

    cycles: NDArray[np.uint8]
    types: int
    data: NDArray[np.bool_]
    mask: int
    levels: int

    def may_be_in(self, stretch: Stretch) -> bool:
        """Whether there may have been one."""
        touched = stretch.touched
        if (stretch.lines ^ self.levels) & self.mask & ~touched.lines:
            return False  # a line that never had that level
        there = touched.cycles & self.cycles
        is_moved = bool((self.data & touched.moved).any())
        if is_moved and there[IO_BASE:].any():
            return True
        if touched.lines & self.types and (is_moved or self.data[stretch.pull_ups]):
            return True
        memory = there[:IO_BASE]
        if (memory & _WRITES).any() and (self.data & touched.written).any():
            return True
        read = np.flatnonzero(memory & _OPCODES_AND_READS)
        return len(read) > 0 and self._may_be_read(read, stretch)

    def _may_be_read(self, addresses: NDArray[np.intp], stretch: Stretch) -> bool:
        store, words = stretch.memory()
        cells = words & INDEX_MASK
        read = cells[addresses]
        if stretch.is_put_into or (read >= stretch.chips).any():
            return True
        if (words[addresses] & int(MapBit.READ_EXIT)).any():
            return True
        if self.data[store[read] & 0xFF].any():
            return True
        altered = cells[:IO_BASE][stretch.touched.cycles[:IO_BASE] & ALTERED != 0]
        return bool((self.data & stretch.touched.written).any() and np.isin(read, altered).any())


class Wanted(NamedTuple):
    """What is looked for; any of it.

    Attributes:
        cycles: uint8, ``SPACE``, bits as in ``Touched.cycles``, whatever the data.
        lines: bits as in ``Touched.lines``.
        bytes: with data.
    """

    cycles: NDArray[np.uint8]
    lines: int
    bytes: tuple[_Bytes, ...] = ()

    def may_be_in(self, stretch: Stretch) -> bool:
        """Whether there may have been any of it in a stretch."""
        touched = stretch.touched
        if touched.lines & self.lines or (touched.cycles & self.cycles).any():
            return True
        return any(each.may_be_in(stretch) for each in self.bytes)


def of_last_steps(conditions: Iterable[Condition]) -> Wanted | None:
    """What there must be for one of some conditions to be met in its last step.

    None if that cannot be told: a step that looks at other lines only.
    """
    return _of_steps([condition.steps[-1] for condition in conditions])


def of_each_step(condition: Condition) -> list[Wanted | None]:
    """For each step of a condition what there must be for it to be met; None as above."""
    return [_of_steps([step]) for step in condition.steps]


def of_alterations(addresses: NDArray[np.intp]) -> Wanted:
    """A write that leaves another byte at one of these addresses."""
    cycles = np.zeros(SPACE, np.uint8)
    cycles[addresses] = ALTERED
    return Wanted(cycles, 0)


def _of_steps(steps: Iterable[Step]) -> Wanted | None:
    lines = 0
    without_data: list[Step] = []
    with_data: list[_Bytes] = []
    for step in steps:
        moved = _lines_of(step)
        data = accepted_data(step)
        lines |= moved
        if moved:
            continue
        if not step.types:
            return None
        mask = step.line_mask & MOVED_TOLD
        if data.all() and not mask:
            without_data.append(step)
        else:
            cycles, types = _cycles_of([step]), _types_of([step])
            with_data.append(_Bytes(cycles, types, data, mask, step.line_value))
    return Wanted(_cycles_of(without_data), lines | _types_of(without_data), tuple(with_data))


def _cycles_of(steps: list[Step]) -> NDArray[np.uint8]:
    words = np.zeros(SPACE, np.int64)
    watch_map(steps, words)
    return (words >> WATCH_SHIFT & _CYCLES).astype(np.uint8)


def _types_of(steps: list[Step]) -> int:
    types = {kind for step in steps for kind in step.types} & TYPES_TOLD
    return sum(1 << MOVED_TYPES + kind for kind in types)


def _lines_of(step: Step) -> int:
    """Lines one of which must have moved for a step to be met; 0 if that says nothing."""
    if step.finding:
        return int(Line.FINDING)
    if step.edge_mask & MOVED_TOLD:
        return step.edge_mask & MOVED_TOLD
    # Levels alone are met when they come true.
    is_told = step.lines_only and not step.line_mask & ~MOVED_TOLD
    return step.line_mask if is_told else 0
