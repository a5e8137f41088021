"""Which EPROMs an image goes into, and what stands in each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.board.decode import decode
from emu85.board.description import BoardDescription, ChipUse
from emu85.board.parts import PARTS, Part
from emu85.errors import UserError, nearest
from emu85.firmware import Image
from emu85.firmware.image import SPACE


@dataclass(frozen=True, slots=True, eq=False)
class Programmed:
    """One chip to burn, or one half of a pair.

    Attributes:
        name: its name on the board; halves add ``even`` or ``odd``.
        part: its number, or the board's word for a ROM without one.
        low, high: addresses on the board, both ends included.
        data: every byte of the chip, from its own address 0 on.
        filled: bool, which of them the image gives.
    """

    name: str
    part: str
    low: int
    high: int
    data: bytes
    filled: NDArray[np.bool_]

    @property
    def used(self) -> int:
        """How many bytes the image gives."""
        return int(self.filled.sum())

    @property
    def range(self) -> str:
        """Board addresses, for people."""
        return f"{self.low:04X}-{self.high:04X}"


def eproms() -> dict[str, Part]:
    """The parts that can be burnt, by number."""
    return {number: part for number, part in PARTS.items() if part.kind == "rom"}


def part_named(number: str) -> Part:
    """An EPROM by its part number.

    Raises:
        UserError: there is none.
    """
    known = {name.casefold(): part for name, part in eproms().items()}
    part = known.get(number.casefold())
    if part is None:
        raise UserError(
            f"there is no EPROM {number!r}",
            expected=f"one of {', '.join(eproms())}",
            nearest=nearest(number, eproms()),
        )
    return part


def covered(board: BoardDescription, image: Image) -> list[ChipUse]:
    """The ROM chips of a board that some byte of an image selects."""
    roms = [use for use in board.memory if use.part.kind == "rom"]
    return [use for use in roms if len(_selected(use, image)[0])]


def content(use: ChipUse, image: Image, fill: int) -> Programmed:
    """What is burnt into a chip of the board, whichever of its mirrors the image is at."""
    addresses, offsets = _selected(use, image)
    low = use.select.low
    high = min(use.select.high, low + use.part.size - 1)
    data = np.full(use.part.size, fill, np.uint8)
    filled = np.zeros(use.part.size, bool)
    whole = np.frombuffer(image.bytes_at(0, SPACE), np.uint8)
    data[offsets] = whole[addresses]
    filled[offsets] = True
    return Programmed(use.name, use.part.number, low, high, data.tobytes(), filled)


def doubled(use: ChipUse, image: Image) -> list[int]:
    """Addresses of the image whose byte of the chip another, with another value, has."""
    addresses, offsets = _selected(use, image)
    whole = np.frombuffer(image.bytes_at(0, SPACE), np.uint8)
    first = np.full(use.part.size, -1, np.int64)
    first[offsets[::-1]] = addresses[::-1]
    differs = whole[addresses] != whole[first[offsets]]
    return [int(address) for address in addresses[differs]]


def halves(whole: Programmed, part: Part, fill: int) -> Sequence[Programmed]:
    """A chip's bytes on two: those at even addresses, and those at odd ones."""
    out = []
    for name, first in (("even", 0), ("odd", 1)):
        filled = whole.filled[first::2]
        data = whole.data[first::2]
        size = max(part.size, len(data))
        padded = data + bytes([fill]) * (size - len(data))
        filled = np.concatenate((filled, np.zeros(size - len(filled), bool)))
        name = f"{whole.name} {name}"
        out.append(Programmed(name, part.number, whole.low, whole.high, padded, filled))
    return out


def _selected(use: ChipUse, image: Image) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Addresses of the image that select the chip, and the byte of the chip each does."""
    decoded = decode(use.select, use.part.size, name=use.name, kind=use.part.kind, waits=0, base=0)
    held = np.zeros(SPACE, bool)
    for segment in image.segments:
        held[segment.start : segment.end] = True
    inside = held[decoded.addresses]
    return decoded.addresses[inside], decoded.offsets[inside]
