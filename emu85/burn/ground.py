"""What stands at each address and port of a board, with an image in its EPROMs.

It answers for the address space as the CPU sees it, mirrors included, from the same map
that the core works on.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.board import Board
from emu85.bus.lines import Line
from emu85.cpu.layout import INDEX_MASK, IO_BASE, MapBit
from emu85.firmware import Image, Segment
from emu85.stretches import of_true

_SPACE = 0x10000
_ERASED = 0xFF
_LEAST_PADDING = 5


class Stands(enum.Enum):
    """What an address selects."""

    NOTHING = "no chip"
    HELD = "ROM that the image fills"
    BLANK = "ROM that the image leaves blank, or pads"
    RAM = "RAM"
    CODE_RAM = "RAM for programs"
    DEVICE = "a device's registers"
    SEVERAL = "several chips at once"


@dataclass(frozen=True, slots=True)
class Port:
    """Who answers at a port: chip names, empty for nobody; several if they clash."""

    chip: str
    read: bool
    written: bool
    several: bool


class Ground:
    """A board with an image burnt in.

    The bytes of the image that no memory chip takes are left out.

    Args:
        burning: the whole chips that the image goes into, fill bytes and all.

    Attributes:
        board: the board; its memory holds the image.
        image: the image as given.
        burnt: the part of it that is in ROM.
        bytes: of the memory at each address; what a device would answer is not in it.
        home: int64, 65 536; the lowest address that selects the same byte of a memory
            chip (its own address where it is none).
    """

    def __init__(self, board: Board, image: Image, burning: Image | None = None) -> None:
        self.board = board
        self.image = image
        self._regions = board.memory_map()
        self._kinds = np.full(_SPACE, "gap", dtype=object)
        self._names = np.full(_SPACE, "", dtype=object)
        for region in self._regions:
            self._kinds[region.low : region.high + 1] = region.kind
            self._names[region.low : region.high + 1] = region.chip
        board.program(_within(image, self._is_memory()))
        if burning is not None:
            board.program(burning)
        self.burnt = _within(image, self._kinds == "rom")
        self.home, self._given, self._held = self._homes()
        self._ports = [
            region.chip for region in board.port_map() for _ in range(region.low, region.high + 1)
        ]
        self._bits = board.map & ~np.int64(INDEX_MASK)
        cells = board.store[board.map[:_SPACE] & INDEX_MASK]
        self.bytes: bytes = (cells & 0xFF).astype(np.uint8).tobytes()

    def at(self, address: int) -> Stands:
        """What an address selects."""
        kind = self._kinds[address]
        if kind == "rom":
            return Stands.HELD if self._held[address] else Stands.BLANK
        if kind == "ram":
            return Stands.CODE_RAM if self._allows_code(address) else Stands.RAM
        return {"gap": Stands.NOTHING, "device": Stands.DEVICE}.get(kind, Stands.SEVERAL)

    def name(self, address: int) -> str:
        """The chip at an address, empty for none."""
        return str(self._names[address])

    def is_held(self, address: int) -> bool:
        """Whether the image puts a byte there, and one that is no padding."""
        return bool(self._held[address])

    @property
    def blank(self) -> NDArray[np.bool_]:
        """Where :meth:`is_held` is False: bool, 65 536."""
        return ~self._held

    def is_code(self, address: int, offset: int) -> bool:
        """Whether the image puts a byte there that can be so many bytes after an opcode.

        The opcode itself is no padding, but an operand may be FF and run into it.
        """
        return bool((self._given if offset else self._held)[address])

    def reads(self, address: int) -> bool:
        """Whether something answers a read."""
        return not self._bits[address] & MapBit.NO_READER

    def writes(self, address: int) -> bool:
        """Whether something takes a write."""
        return not self._bits[address] & (MapBit.NO_WRITER | MapBit.ROM)

    def is_rom(self, address: int) -> bool:
        """Whether a write would meet a ROM and nothing else."""
        return bool(self._bits[address] & MapBit.ROM)

    def is_stack(self, address: int) -> bool:
        """Whether the board wants a stack there; True anywhere if it does not say."""
        return not self._bits[address] & MapBit.NOT_STACK

    def port(self, number: int) -> Port:
        """Who answers at a port."""
        bits = int(self._bits[IO_BASE + number])
        return Port(
            chip=self._ports[number],
            read=not bits & MapBit.NO_READER,
            written=not bits & (MapBit.NO_WRITER | MapBit.ROM),
            several=bool(bits & MapBit.CONTENTION),
        )

    def drives(self, line: Line) -> bool:
        """Whether something on the board can drive an input line of the CPU."""
        return self.board.description.drives(line)

    def _is_memory(self) -> NDArray[np.bool_]:
        found: NDArray[np.bool_] = (self._kinds == "rom") | (self._kinds == "ram")
        return found

    def _allows_code(self, address: int) -> bool:
        use = next(u for u in self.board.description.memory if u.name == self._names[address])
        return use.code

    def _homes(self) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
        """The home of each address, and whether its byte is given, and given as no padding."""
        home = np.arange(_SPACE, dtype=np.int64)
        memory = np.flatnonzero(self._is_memory())
        cells = self.board.map[memory] & INDEX_MASK
        _, first, inverse = np.unique(cells, return_index=True, return_inverse=True)
        home[memory] = memory[first][inverse]
        given, held = np.zeros(_SPACE, bool), np.zeros(_SPACE, bool)
        for segment in self.image.segments:
            given[segment.start : segment.end] = True
            held[segment.start : segment.end] = ~_padding(segment.data)
        return home, self._at_home(home, given), self._at_home(home, held)

    def _at_home(self, home: NDArray[np.int64], filled: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Of addresses, so of their mirrors."""
        homes = np.zeros(_SPACE, bool)
        homes[home[filled & self._is_memory()]] = True
        return homes[home]


def _padding(data: bytes) -> NDArray[np.bool_]:
    """Which bytes are what an erased EPROM holds, several in a row.

    A file for the programmer has all bytes of the chip; those that nobody meant to be there
    are blank however they came.  Five are what lies between two vectors that are used.
    """
    erased = np.frombuffer(data, np.uint8) == _ERASED
    found = np.zeros(len(data), bool)
    for start, end in of_true(erased):
        found[start:end] = end - start >= _LEAST_PADDING
    return found


def _within(image: Image, mask: NDArray[np.bool_]) -> Image:
    """The bytes of an image where ``mask`` is true."""
    segments: list[Segment] = []
    for segment in image.segments:
        for start, end in of_true(mask[segment.start : segment.end]):
            segments.append(Segment(segment.start + start, segment.data[start:end]))
    return Image(tuple(segments), source=image.source)
