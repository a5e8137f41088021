"""Conditions compiled into what the core looks at.

The core's cost with nothing hit is one load and one test a cycle: the map word
of the address has a bit for each cycle type that some stop looks at there, and
``data_watch`` has the same for each data byte.  Only when both bits are set
does it walk the rows of the stop table; and besides in a cycle that gave rise
to a finding, for which reason steps that ask for findings need no watch bits,
and in one that changed a line.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import IO_CYCLES, Cycle
from emu85.cpu.layout import IO_BASE, SPACE, STOP_FIELDS, WATCH_SHIFT, StopField
from emu85.stops.condition import PORT_STEP, Condition, Step

Int64 = NDArray[np.int64]

WATCH_BITS = sum(1 << (WATCH_SHIFT + cycle) for cycle in Cycle)
"""All the bits of a map word that belong to stops."""

_MEMORY = np.arange(IO_BASE, dtype=np.int64)
_PORTS = np.arange(SPACE - IO_BASE, dtype=np.int64) * PORT_STEP
_BYTES = np.arange(256, dtype=np.int64)


def no_rows() -> Int64:
    """The table of no stops, ``(0, STOP_FIELDS)``."""
    return np.zeros((0, STOP_FIELDS), dtype=np.int64)


def compile_rows(condition: Condition, first: int) -> Int64:
    """The rows of one stop, which will stand in the table from row ``first`` on.

    Returns:
        int64 ``(steps, STOP_FIELDS)``; only the first step is active, and
        nothing has been seen or hit.
    """
    count = len(condition.steps)
    rows = np.zeros((count, STOP_FIELDS), dtype=np.int64)
    for number, step in enumerate(condition.steps):
        _fill(rows[number], step)
        rows[number, StopField.NEXT] = first + number + 1 if number + 1 < count else -1
    rows[0, StopField.ACTIVE] = 1
    rows[:, StopField.FIRST] = first
    rows[:, StopField.LAST_T] = -1
    return rows


def watch_map(steps: list[Step], map_array: Int64) -> None:
    """Set the watch bits of ``map_array`` for ``steps`` and clear all others, in place.

    Args:
        steps: every step of every armed stop; those on lines or findings set nothing.
        map_array: int64 ``(SPACE,)``; bits outside :data:`WATCH_BITS` are kept.
    """
    map_array &= ~WATCH_BITS
    for step in _watching(steps):
        _watch(map_array[:IO_BASE], _MEMORY, step, step.types - IO_CYCLES)
        _watch(map_array[IO_BASE:], _PORTS, step, step.types & IO_CYCLES)


def watch_data(steps: list[Step]) -> Int64:
    """For each data byte, int64 ``(256,)``, a bit for each type some step accepts it in."""
    watch = np.zeros(256, dtype=np.int64)
    for step in _watching(steps):
        watch[accepted_data(step)] |= _bits(step.types)
    return watch


def accepted_data(step: Step) -> NDArray[np.bool_]:
    """For each data byte, bool ``(256,)``, whether a step accepts it."""
    accepted: NDArray[np.bool_] = (_BYTES & step.data_mask) == step.data_value
    return accepted & (step.data_low <= _BYTES) & (step.data_high >= _BYTES)


def accepts_some_address(step: Step) -> bool:
    """False if no address that these cycle types can show fits the address parts."""
    shown = _PORTS if step.ports else _MEMORY
    return any(_fits(shown[part], step).any() for part in _parts(shown, step))


def _fill(row: Int64, step: Step) -> None:
    row[StopField.TYPES] = _bits(step.types or frozenset(Cycle))
    row[StopField.LOW] = step.low
    row[StopField.HIGH] = step.high
    row[StopField.OUTSIDE] = step.outside
    row[StopField.ADDRESS_MASK] = step.address_mask
    row[StopField.ADDRESS_VALUE] = step.address_value
    row[StopField.DATA_MASK] = step.data_mask
    row[StopField.DATA_VALUE] = step.data_value
    row[StopField.DATA_LOW] = step.data_low
    row[StopField.DATA_HIGH] = step.data_high
    row[StopField.LINE_MASK] = step.line_mask
    row[StopField.LINE_VALUE] = step.line_value
    row[StopField.EDGE_MASK] = step.edge_mask
    row[StopField.PASSES] = step.passes
    row[StopField.LINES_ONLY] = step.lines_only
    row[StopField.FINDING] = step.finding


def _watching(steps: list[Step]) -> list[Step]:
    return [step for step in steps if not step.finding]


def _bits(types: frozenset[Cycle]) -> int:
    return sum(1 << cycle for cycle in types)


def _watch(words: Int64, shown: Int64, step: Step, types: frozenset[Cycle]) -> None:
    """Set the bits of ``types`` in ``words``, whose entries show the addresses ``shown``."""
    if not types:
        return
    bits = _bits(types) << WATCH_SHIFT
    for part in _parts(shown, step):
        if step.address_mask:
            words[part] |= _fits(shown[part], step) * np.int64(bits)
        else:
            words[part] |= bits


def _parts(shown: Int64, step: Step) -> Iterator[slice]:
    """The slices of ``shown``, which ascends, that the range of ``step`` lets through."""
    low = int(np.searchsorted(shown, step.low, "left"))
    past = int(np.searchsorted(shown, step.high, "right"))
    if not step.outside:
        yield slice(low, past)
        return
    yield slice(0, low)
    yield slice(past, len(shown))


def _fits(addresses: Int64, step: Step) -> NDArray[np.bool_]:
    fits: NDArray[np.bool_] = (addresses & step.address_mask) == step.address_value
    return fits
