"""The core's map, built from decoded chips and devices.

Where one chip alone is selected, its map word is computed for all its addresses
at once.  Where several are, each address is worked out by itself: who answers,
who takes a write, and which store entry the core may touch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from emu85.board.decode import Decoded, Ints
from emu85.board.device import Device, Read
from emu85.board.sides import (
    CONTENTION,
    NO_READER,
    NO_WRITER,
    READ_EXIT,
    ROM,
    WRITE_EXIT,
    Cells,
    CellSide,
    RegisterSide,
    Side,
)
from emu85.cpu.layout import INDEX_MASK, IO_BASE, SPACE, WAIT_SHIFT, MapBit

FLOATING_CELL = 0
"""Store index of the byte that the pull-ups give."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A device whose registers have addresses."""

    device: Device
    decoded: Decoded
    cells: Cells


@dataclass
class Mapping:
    """Everything that answers the bus.

    Attributes:
        chips: memory chips, with whether opcode fetches from anywhere in them are code.
        placed: devices.
        store: the bytes.
        words: the map.
        readers, writers: by map index.
    """

    chips: Sequence[tuple[Decoded, bool]]
    placed: Sequence[Placed]
    store: NDArray[np.uint16]
    words: Ints = field(init=False)
    readers: dict[int, Callable[[], int]] = field(default_factory=dict)
    writers: dict[int, Callable[[int], None]] = field(default_factory=dict)
    _registers: list[list[RegisterSide]] = field(default_factory=list)
    _alone: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        self.words = np.full(SPACE, FLOATING_CELL | NO_READER | NO_WRITER, dtype=np.int64)
        not_code = np.zeros(SPACE, dtype=bool)
        not_code[:IO_BASE] = True
        for chip, code in self.chips:
            self.words[chip.indexes] = chip.cells | (ROM if chip.kind == "rom" else 0)
            not_code[chip.indexes] &= not code
        for placed in self.placed:
            self._registers.append(self._map_device(placed))
        taken, waits = self._occupied()
        self._alone = taken == 1
        for index in np.flatnonzero(taken > 1).tolist():
            self.words[index] = self._join(index)
        self.words |= waits << WAIT_SHIFT
        self.words |= np.where(not_code, int(MapBit.NOT_CODE), 0)

    def keep_stack_in(self, regions: Sequence[tuple[int, int]]) -> None:
        """Mark all memory outside the regions (both ends included) as no place for a stack.

        A mirror of a region is the same bytes, and so is not outside.
        """
        cells = self.words & INDEX_MASK
        inside = np.zeros(SPACE, dtype=bool)
        for low, high in regions:
            inside[low : high + 1] = True
        is_own = np.zeros(int(cells.max()) + 1, dtype=bool)
        is_own[cells[inside]] = True
        is_own[FLOATING_CELL] = False
        outside = ~(inside | is_own[cells])
        outside[IO_BASE:] = False
        self.words |= np.where(outside, int(MapBit.NOT_STACK), 0)

    def watch(self, decoded: Decoded, register: int, on: bool) -> None:
        """Have reads of a watched register told to its device, or no longer.

        Where other chips answer as well, its device is told always.
        """
        indexes = decoded.indexes[decoded.offsets == register]
        indexes = indexes[self._alone[indexes]]
        if on:
            self.words[indexes] |= READ_EXIT
        else:
            self.words[indexes] &= ~np.int64(READ_EXIT)

    def peek(self, index: int) -> int | None:
        """What a read would give, without side effects; None if nothing answers."""
        answering = [side for side in self._sides(index) if side.read is not Read.NONE]
        value = 0xFF
        for side in answering:
            value &= side.peek()
        return value if answering else None

    def _occupied(self) -> tuple[Ints, Ints]:
        """How many chips each index selects, and the most wait states any of them asks."""
        taken = np.zeros(SPACE, dtype=np.int64)
        waits = np.zeros(SPACE, dtype=np.int64)
        everything = [chip for chip, _ in self.chips] + [p.decoded for p in self.placed]
        for decoded in everything:
            taken[decoded.indexes] += 1
            waits[decoded.indexes] = np.maximum(waits[decoded.indexes], decoded.waits)
        return taken, waits

    def _map_device(self, placed: Placed) -> list[RegisterSide]:
        sides = []
        decoded = placed.decoded
        for number in range(decoded.size):
            side = RegisterSide(placed.device, number, placed.cells)
            sides.append(side)
            indexes = decoded.indexes[decoded.offsets == number]
            self.words[indexes] = side.cell | side.bits
            for index in indexes.tolist():
                if side.kept or side.read in (Read.LIVE, Read.WATCHED):
                    self.readers[index] = side.answer
                if side.written:
                    self.writers[index] = side.take
        return sides

    def _sides(self, index: int) -> list[Side]:
        """Everything that an index selects."""
        found: list[Side] = []
        for chip, _ in self.chips:
            offset = chip.offset_at(index)
            if offset >= 0:
                found.append(CellSide(self.store, chip.base + offset, chip.kind))
        for placed, sides in zip(self.placed, self._registers, strict=True):
            offset = placed.decoded.offset_at(index)
            if offset >= 0:
                found.append(sides[offset])
        return found

    def _join(self, index: int) -> int:
        """The map word, reader and writer where several chips are selected at once."""
        sides = self._sides(index)
        answering = [side for side in sides if side.read is not Read.NONE]
        taking = [side for side in sides if side.written]
        self.readers.pop(index, None)
        self.writers.pop(index, None)
        # The core writes the word's own store entry before it tells anybody, so
        # the entry must be one that a write is meant for or that can be put right.
        direct = len(answering) == 1 and not (taking and answering[0].rom)
        word = (answering if direct else taking or sides)[0].cell
        if not answering:
            word |= NO_READER | READ_EXIT  # the store may have what was written to one of them
            self.readers[index] = sides[0].answer
        elif len(answering) > 1:
            word |= CONTENTION
        if answering and (not direct or answering[0].read is not Read.PUBLISHED):
            word |= READ_EXIT
            self.readers[index] = partial(_answer_all, answering)
        if taking:
            word |= WRITE_EXIT
            self.writers[index] = partial(_tell_all, taking, sides)
        else:
            word |= ROM if any(side.rom for side in sides) else NO_WRITER
        return word


def _answer_all(sides: list[Side]) -> int:
    """Two outputs fighting: a low output wins over a high one, bit by bit (a choice)."""
    value = 0xFF
    for side in sides:
        value &= side.answer()
    return value


def _tell_all(taking: list[Side], sides: list[Side], value: int) -> None:
    for side in taking:
        side.take(value)
    for side in sides:
        side.restore()
