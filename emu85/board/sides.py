"""One chip's side of a bus cycle: how it answers a read and takes a write."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from emu85.board.device import Device, Read
from emu85.cpu.layout import MapBit

# As plain integers: combining members of a flag is slow where it is done per address.
READ_EXIT, WRITE_EXIT = int(MapBit.READ_EXIT), int(MapBit.WRITE_EXIT)
NO_READER, NO_WRITER = int(MapBit.NO_READER), int(MapBit.NO_WRITER)
CONTENTION, ROM = int(MapBit.CONTENTION), int(MapBit.ROM)


class Cells(Protocol):
    """Where a device's registers stand in the store."""

    base: int

    def shown(self, register: int) -> int:
        """The byte a read finds without asking the device."""

    def restore(self, register: int) -> None:
        """Put that byte back into the store."""


class Side(Protocol):
    """What one selected chip does in a cycle.

    Attributes:
        cell: its store index.
        read: how it answers reads.
        written: whether it takes writes.
        rom: whether it is a ROM.
    """

    cell: int
    read: Read
    written: bool
    rom: bool

    def answer(self) -> int:
        """The byte for a read, with side effects."""

    def peek(self) -> int:
        """The byte for a read, without."""

    def take(self, value: int) -> None:
        """Take a written byte; the store entry already holds it or is wrong."""

    def restore(self) -> None:
        """Put the store entry right after a write that was not for it."""


class CellSide:
    """The side of a memory chip's byte; there may be many, so each is one small object."""

    __slots__ = ("_store", "cell", "read", "rom", "written")

    def __init__(self, store: NDArray[np.uint16], cell: int, kind: str) -> None:
        self._store = store
        self.cell = cell
        self.read = Read.PUBLISHED
        self.rom = kind == "rom"
        self.written = not self.rom

    def answer(self) -> int:
        return int(self._store[self.cell]) & 0xFF

    peek = answer

    def take(self, value: int) -> None:
        self._store[self.cell] = value

    def restore(self) -> None:
        """A byte of memory has nothing to put right."""


class RegisterSide:
    """The side of a device's register."""

    rom = False

    def __init__(self, device: Device, number: int, cells: Cells) -> None:
        register = device.registers[number]
        self.cell = cells.base + number
        self.read = register.read
        self.written = register.written
        self.kept = register.kept
        self._device = device
        self._number = number
        self._cells = cells
        self._asked = register.read in (Read.LIVE, Read.WATCHED)

    @property
    def bits(self) -> int:
        """Bits of the map word where this register alone is selected."""
        if self.kept:  # the store has what was written, and a read must not find that
            return NO_READER | READ_EXIT
        ways = {Read.NONE: NO_READER, Read.PUBLISHED: 0, Read.LIVE: READ_EXIT, Read.WATCHED: 0}
        return ways[self.read] | (WRITE_EXIT if self.written else NO_WRITER)

    def answer(self) -> int:
        if self._asked:
            return self._device.read(self._number)
        return self._cells.shown(self._number)

    def peek(self) -> int:
        if self.read is Read.LIVE:
            return self._device.peek(self._number)
        return self._cells.shown(self._number)

    def take(self, value: int) -> None:
        self._device.write(self._number, value)
        self.restore()

    def restore(self) -> None:
        if not self.kept:
            self._cells.restore(self._number)
