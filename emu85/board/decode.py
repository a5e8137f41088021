"""Which chip answers at which address: from select ranges to the core's map.

A chip's own address pins are wired to the bus lines of the same weight, so the
byte that an address selects inside a chip of 2**n bytes is ``address`` modulo
2**n wherever its select range begins.  (A ROM or RAM given by a size that is no
power of two is counted from the low end of its range.)  A select range longer
than the chip therefore shows the chip again and again, and an address line that
the decoder ignores shows the whole range again elsewhere; all these mirrors
share the same entries of the store.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.board.description import Select
from emu85.cpu.layout import IO_BASE

Ints = NDArray[np.int64]
IO_SPACE = 0x100


@dataclass(frozen=True, slots=True)
class Decoded:
    """The addresses that select one chip.

    Attributes:
        name: the chip's name.
        kind: ``rom``, ``ram`` or ``device``.
        select: as the board file says.
        size: bytes, or registers of a device.
        waits: wait states.
        base: store index of the chip's first byte.
        addresses: int64, ascending, within the chip's space.
        offsets: int64, the byte of the chip that each address selects.
        table: int64, the same for every address of the space, -1 where not selected.
        homes: (low, high), the part of the select range that is no mirror.
    """

    name: str
    kind: str
    select: Select
    size: int
    waits: int
    base: int
    addresses: Ints
    offsets: Ints
    table: Ints

    @property
    def homes(self) -> tuple[int, int]:
        return self.select.low, min(self.select.high, self.select.low + self.size - 1)

    @property
    def is_port(self) -> bool:
        """Whether the chip is in the I/O space."""
        return self.select.space == IO_SPACE

    @property
    def indexes(self) -> Ints:
        """The addresses as indexes of the core's map."""
        return self.addresses + IO_BASE if self.is_port else self.addresses

    def offset_at(self, index: int) -> int:
        """The byte that a map index selects, or -1."""
        if self.is_port != (index >= IO_BASE):
            return -1
        return int(self.table[index - IO_BASE if self.is_port else index])

    @property
    def cells(self) -> Ints:
        """Store indexes, one for each address."""
        return self.base + self.offsets


def decode(select: Select, size: int, *, name: str, kind: str, waits: int, base: int) -> Decoded:
    """Work out which addresses select a chip of ``size`` bytes, and which byte each."""
    every = np.arange(select.space, dtype=np.int64)
    table = np.full(select.space, -1, dtype=np.int64)
    for flip in _subsets(select.ignores):
        seen_as = every ^ flip
        inside = (seen_as >= select.low) & (seen_as <= select.high) & (table < 0)
        table[inside] = _offset(seen_as[inside], select.low, size)
    addresses = np.flatnonzero(table >= 0).astype(np.int64)
    return Decoded(name, kind, select, size, waits, base, addresses, table[addresses], table)


def selects(select: Select, address: int) -> bool:
    """Whether an address selects what ``select`` stands for."""
    return any(select.low <= address ^ flip <= select.high for flip in _subsets(select.ignores))


def _offset(addresses: Ints, low: int, size: int) -> Ints:
    return addresses % size if size & (size - 1) == 0 else (addresses - low) % size


def _subsets(mask: int) -> list[int]:
    """Every value whose bits are among those of ``mask``, 0 first."""
    found = [0]
    for bit in range(mask.bit_length()):
        if mask >> bit & 1:
            found += [value | 1 << bit for value in found]
    return found


@dataclass(frozen=True, slots=True)
class Region:
    """A stretch of addresses that one set of chips answers in one way.

    Attributes:
        chip: names of the chips joined by " + "; empty for a gap.
        low, high: both ends included.
        mirror_of: the range that is seen again here, or None.
        waits: wait states.
        kind: ``rom``, ``ram``, ``device``, ``gap`` or ``overlap``.
    """

    chip: str
    low: int
    high: int
    mirror_of: tuple[int, int] | None
    waits: int
    kind: str


def regions(chips: list[Decoded], space: int) -> list[Region]:
    """The whole space from 0 up in regions, gaps and overlaps included."""
    state = np.zeros((len(chips), space), dtype=np.int8)
    for row, chip in enumerate(chips):
        low, high = chip.homes
        mirror = (chip.addresses < low) | (chip.addresses > high)
        state[row, chip.addresses] = np.where(mirror, 2, 1)
    changes = np.flatnonzero((state[:, 1:] != state[:, :-1]).any(axis=0)) + 1
    starts = [0, *changes.tolist()]
    ends = [*(start - 1 for start in starts[1:]), space - 1]
    return [
        _region(chips, state[:, low], low, high) for low, high in zip(starts, ends, strict=True)
    ]


def _region(chips: list[Decoded], state: NDArray[np.int8], low: int, high: int) -> Region:
    here = [chips[row] for row in np.flatnonzero(state)]
    if not here:
        return Region("", low, high, None, 0, "gap")
    names = " + ".join(chip.name for chip in here)
    waits = max(chip.waits for chip in here)
    if len(here) > 1:
        return Region(names, low, high, None, waits, "overlap")
    mirrored = here[0].homes if state.max() == 2 else None
    return Region(names, low, high, mirrored, waits, here[0].kind)
