"""Which EPROMs an image goes into, and what stands in each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board.decode import Decoded, decode
from emu85.board.description import BoardDescription, ChipUse
from emu85.board.parts import PARTS, Part
from emu85.errors import UserError
from emu85.firmware import Image, Segment
from emu85.firmware.image import SPACE
from emu85.stretches import of_true

_NUMBER = re.compile(r"27C?(?P<size>\d+)[A-Z]*(-\d+)?", re.IGNORECASE)
"""C for CMOS, letters of the version, and the access time behind a hyphen (common practice,
no published source)."""


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
    """An EPROM by its part number, with or without the letters of its version.

    Returns:
        the part under the name that was given, such as ``27C64A-20``.

    Raises:
        UserError: there is none.
    """
    found = _NUMBER.fullmatch(number.strip())
    part = eproms().get(f"27{found['size']}") if found else None
    if part is None:
        raise UserError(
            f"there is no EPROM {number!r}",
            expected=f"one of {', '.join(eproms())}, with letters as 27C64A has them",
        )
    return replace(part, number=number.strip().upper())


def covered(board: BoardDescription, image: Image) -> list[ChipUse]:
    """The ROM chips of a board that some byte of an image selects."""
    roms = [use for use in board.memory if use.part.kind == "rom"]
    return [use for use in roms if len(_selected(use, image)[0])]


def content(use: ChipUse, image: Image, fill: int) -> Programmed:
    """What is burnt into a chip of the board, whichever of its mirrors the image is at.

    Of bytes that are given several times the one at the lowest address counts.
    """
    addresses, offsets = _selected(use, image)
    low = use.select.low
    high = min(use.select.high, low + use.part.size - 1)
    data = np.full(use.part.size, fill, np.uint8)
    filled = np.zeros(use.part.size, bool)
    whole = np.frombuffer(image.bytes_at(0, SPACE), np.uint8)
    data[offsets[::-1]] = whole[addresses[::-1]]
    filled[offsets] = True
    return Programmed(use.name, use.part.number, low, high, data.tobytes(), filled)


class GivenAgain(NamedTuple):
    """Bytes of an image for bytes of a chip that lower addresses of it have given.

    Attributes:
        given: how many bytes the image gives for the chip in all.
        addresses: of those that were given before.
        otherwise: those of them with another value.
    """

    given: int
    addresses: list[int]
    otherwise: list[int]


def given_again(use: ChipUse, image: Image) -> GivenAgain:
    """What an image larger than its chip gives for it by way of mirrors."""
    addresses, offsets = _selected(use, image)
    whole = np.frombuffer(image.bytes_at(0, SPACE), np.uint8)
    first = np.full(use.part.size, -1, np.int64)
    first[offsets[::-1]] = addresses[::-1]
    again = first[offsets] != addresses
    differs = whole[addresses] != whole[first[offsets]]
    return GivenAgain(len(addresses), addresses[again].tolist(), addresses[differs].tolist())


def by_mirrors(use: ChipUse, image: Image) -> list[int]:
    """Addresses of an image beyond those that a chip is meant for, if it has some of these."""
    addresses, _ = _selected(use, image)
    low = use.select.low
    is_meant = (addresses >= low) & (addresses < low + use.part.size)
    found: list[int] = addresses[~is_meant].tolist() if is_meant.any() else []
    return found


def as_burnt(board: BoardDescription, image: Image, fill: int) -> Image:
    """All bytes of the chips that an image goes into, at every address that selects them."""
    whole, present = np.zeros(SPACE, np.uint8), np.zeros(SPACE, bool)
    for use in covered(board, image):
        decoded = _decoded(use)
        data = np.frombuffer(content(use, image, fill).data, np.uint8)
        whole[decoded.addresses] = data[decoded.offsets]
        present[decoded.addresses] = True
    segments = [Segment(low, whole[low:high].tobytes()) for low, high in of_true(present)]
    return Image(tuple(segments), source=image.source)


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
    decoded = _decoded(use)
    held = np.zeros(SPACE, bool)
    for segment in image.segments:
        held[segment.start : segment.end] = True
    inside = held[decoded.addresses]
    return decoded.addresses[inside], decoded.offsets[inside]


def _decoded(use: ChipUse) -> Decoded:
    return decode(use.select, use.part.size, name=use.name, kind=use.part.kind, waits=0, base=0)
