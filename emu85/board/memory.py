"""The memory chips of a board: images burnt in, bytes at power-on, code and data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emu85.board.contents import Contents
from emu85.board.decode import Decoded, Ints
from emu85.board.description import ChipUse, Fill
from emu85.board.fill import power_on_bytes
from emu85.cpu.layout import IO_BASE, UNWRITTEN, MapBit
from emu85.errors import Mistakes, Place, UserError
from emu85.firmware.files import atomic_write, read_bytes
from emu85.firmware.image import Image
from emu85.firmware.reader import BINARY_SUFFIXES, read_image

NOT_CODE = int(MapBit.NOT_CODE)

Chip = tuple[ChipUse, Decoded]


class Memory:
    """Puts bytes into the store and keeps the map's note of what is code."""

    NOT_STATE = frozenset({"_battery_files", "_chips", "_store", "_words"})

    def __init__(self, chips: Sequence[Chip], store: NDArray[np.uint16], words: Ints) -> None:
        self._chips = chips
        self._store = store
        self._words = words
        self._programmed = np.zeros(len(store), dtype=bool)
        self._battery_files = [chip for chip in chips if chip[0].battery_file]
        self._check_battery_files()
        mistakes = Mistakes()
        for chip in chips:
            with mistakes.noted():
                self._load_image(chip)
        mistakes.tell()

    def program(self, image: Image) -> None:
        """Put an image into every chip its addresses select.

        Raises:
            UserError: a byte of it where there is no chip; nothing is written then.
        """
        bare = _first_outside(image, self._selected(self._chips))
        if bare is not None:
            raise UserError(
                f"the image has a byte at {bare:04X}, where the board has no memory",
                Place(image.source),
                expected=self.ranges(),
            )
        self._put(image, self._chips)

    def leave_blank(self, blank: NDArray[np.bool_]) -> None:
        """Have bytes of ROM be no code, as where nothing was burnt.

        Args:
            blank: bool, 65 536, by address.
        """
        for _, chip in self._chips:
            if chip.kind == "rom":
                self._programmed[chip.cells[blank[chip.addresses]]] = False
        self._mark_code()

    def power(self, fill: Fill, *, batteries_charged: bool) -> None:
        """Fill RAM, all of it never written; RAM on a charged battery keeps its bytes.

        RAM whose battery file is there takes its bytes when power first comes on.

        Raises:
            UserError: a battery file that cannot be read or does not fit its chip.
        """
        for number, (use, chip) in enumerate(self._chips):
            if chip.kind != "ram" or (use.battery and batteries_charged):
                continue
            cells = np.arange(chip.base, chip.base + chip.size)
            fresh = power_on_bytes(fill, number, chip.size)
            self._store[cells] = fresh.astype(np.uint16) | UNWRITTEN
            self._programmed[cells] = False
        if not batteries_charged:
            for use, chip in self._battery_files:
                self._read_battery(use, chip)
        self._mark_code()

    def contents(self) -> Contents:
        """What all chips hold, devices' registers too."""
        return Contents(self._store.astype("<u2").tobytes(), self._programmed.tobytes())

    def put_contents(self, contents: Contents) -> None:
        """Give all chips what they held.

        Raises:
            UserError: contents of another board.
        """
        store = np.frombuffer(contents.store, dtype="<u2")
        programmed = np.frombuffer(contents.programmed, dtype=bool)
        if not len(store) == len(programmed) == len(self._store):
            raise UserError("contents of other chips", expected="those of this board")
        self._store[:] = store
        self._programmed[:] = programmed
        self._mark_code()

    def save_batteries(self) -> None:
        """Write every battery file, each as a whole or not at all.

        Raises:
            UserError: one that cannot be written.
        """
        for use, chip in self._battery_files:
            assert use.battery_file is not None
            cells = self._store[chip.base : chip.base + chip.size]
            atomic_write(use.battery_file, (cells & 0xFF).astype(np.uint8).tobytes())

    def _check_battery_files(self) -> None:
        taken: dict[Path, str] = {}
        for use, _ in self._battery_files:
            assert use.battery_file is not None
            path = use.battery_file.resolve()
            if path in taken:
                raise use.node.wrong(
                    f"{use.name} and {taken[path]} have one battery file",
                    expected="a file for each chip",
                )
            taken[path] = use.name

    def _read_battery(self, use: ChipUse, chip: Decoded) -> None:
        assert use.battery_file is not None
        if not use.battery_file.exists():
            return  # a new battery: the file is written when power goes off
        data = read_bytes(use.battery_file)
        if len(data) != chip.size:
            raise use.node.wrong(
                f"{use.battery_file.name} has {len(data)} bytes and the {use.name} chip "
                f"{chip.size}",
                expected="the battery file of this chip",
            )
        self._store[chip.base : chip.base + chip.size] = np.frombuffer(data, dtype=np.uint8)

    def poke_all(self, bytes_at: Iterable[tuple[int, int]]) -> None:
        """Change a byte of every chip that each map index selects, ROM as well; all or none.

        Raises:
            UserError: no chip at one of them.
        """
        found = [(self._cells(index), value) for index, value in bytes_at]
        for cells, value in found:
            for cell in cells:
                self._store[cell] = value

    def _cells(self, index: int) -> list[int]:
        """The store's cells that a map index selects, at least one."""
        offsets = [(chip, chip.offset_at(index)) for _, chip in self._chips]
        cells = [chip.base + offset for chip, offset in offsets if offset >= 0]
        if not cells:
            what = f"port {index - IO_BASE:02X}" if index >= IO_BASE else f"address {index:04X}"
            raise UserError(f"no memory at {what}", expected=self.ranges())
        return cells

    def ranges(self) -> str:
        """Where the chips are, for messages."""
        spans = sorted({chip.homes for _, chip in self._chips})
        return "addresses " + ", ".join(f"{low:04X}-{high:04X}" for low, high in spans)

    def _load_image(self, chip: Chip) -> None:
        use, decoded = chip
        path = use.image
        if path is None:
            return
        if not path.is_file():
            raise use.node.wrong(f"no image file {str(path)!r} for the {use.name} chip")
        at = use.select.low if path.suffix.casefold() in BINARY_SUFFIXES else None
        image = read_image(path, at=at)
        if _first_outside(image, self._selected([chip])) is not None:
            raise use.node.wrong(
                f"{path.name} has bytes outside the {use.name} chip",
                expected=f"addresses {decoded.homes[0]:04X} to {decoded.homes[1]:04X}",
            )
        self._put(image, [chip])

    @staticmethod
    def _selected(chips: Sequence[Chip]) -> NDArray[np.bool_]:
        selected = np.zeros(IO_BASE, dtype=bool)
        for _, chip in chips:
            selected[chip.addresses] = True
        return selected

    def _put(self, image: Image, chips: Sequence[Chip]) -> None:
        for segment in image.segments:
            data = np.frombuffer(segment.data, dtype=np.uint8)
            ends = [segment.start, segment.start + len(data)]
            for _, chip in chips:
                first, last = np.searchsorted(chip.addresses, ends)
                cells = chip.cells[first:last]
                self._store[cells] = data[chip.addresses[first:last] - segment.start]
                self._programmed[cells] = True
        self._mark_code()

    def _mark_code(self) -> None:
        """Let fetches of programmed bytes, at all their mirrors, be code and no others."""
        code = np.zeros(IO_BASE, dtype=bool)
        for use, chip in self._chips:
            code[chip.addresses] |= self._programmed[chip.cells] | use.code
        memory = self._words[:IO_BASE]
        memory[code] &= ~NOT_CODE
        memory[~code] |= NOT_CODE


def _first_outside(image: Image, selected: NDArray[np.bool_]) -> int | None:
    for segment in image.segments:
        inside = selected[segment.start : segment.start + len(segment.data)]
        if not inside.all():
            return segment.start + int(np.argmin(inside))
    return None
