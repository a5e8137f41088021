"""One chip's side of a bus cycle: how it answers a read and takes a write."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Side:
    """What one selected chip does in a cycle.

    Attributes:
        cell: its store index.
        read: how it answers reads.
        written: whether it takes writes.
        rom: whether it is a ROM.
        answer: the byte for a read, with side effects.
        peek: the byte for a read, without.
        take: take a written byte; the store entry already holds it or is wrong.
        restore: put the store entry right after a write that was not for it.
    """

    cell: int
    read: Read
    written: bool
    rom: bool
    answer: Callable[[], int]
    peek: Callable[[], int]
    take: Callable[[int], None]
    restore: Callable[[], None]

    @property
    def bits(self) -> int:
        """Bits of the map word where this chip alone is selected."""
        ways = {Read.NONE: NO_READER, Read.PUBLISHED: 0, Read.LIVE: READ_EXIT, Read.WATCHED: 0}
        return ways[self.read] | (WRITE_EXIT if self.written else NO_WRITER)


def cell_side(store: NDArray[np.uint16], cell: int, kind: str) -> Side:
    """The side of a memory chip's byte."""

    def answer() -> int:
        return int(store[cell]) & 0xFF

    def take(value: int) -> None:
        store[cell] = value

    def keep() -> None:
        """A byte of memory has nothing to put right."""

    rom = kind == "rom"
    return Side(cell, Read.PUBLISHED, not rom, rom, answer, answer, take, keep)


def register_side(device: Device, number: int, cells: Cells) -> Side:
    """The side of a device's register."""
    register = device.registers[number]
    live = register.read is Read.LIVE
    asked = live or register.read is Read.WATCHED

    def answer() -> int:
        return device.read(number) if asked else cells.shown(number)

    def peek() -> int:
        return device.peek(number) if live else cells.shown(number)

    def take(value: int) -> None:
        device.write(number, value)
        cells.restore(number)

    def restore() -> None:
        cells.restore(number)

    cell = cells.base + number
    return Side(cell, register.read, register.written, False, answer, peek, take, restore)
