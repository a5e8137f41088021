"""A board that is powered: chips, devices, wires and the serial line, fitted together.

``fit`` turns a description into a :class:`Board`.  The machine's core works on
``map`` and ``store`` directly (see ``emu85.cpu.layout``); the board is called
only where a map word says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emu85.board import shelf
from emu85.board.decode import Decoded, Region, decode, regions
from emu85.board.description import BoardDescription, ChipUse, DeviceUse, Pin
from emu85.board.device import Device, Read, Register
from emu85.board.host import Host
from emu85.board.kinds import located
from emu85.board.schedule import Schedule
from emu85.board.serial import SerialLine
from emu85.board.sides import (
    CONTENTION,
    NO_READER,
    NO_WRITER,
    READ_EXIT,
    ROM,
    WRITE_EXIT,
    Side,
    cell_side,
    register_side,
)
from emu85.board.wiring import Wiring
from emu85.bus.lines import Line
from emu85.cpu.layout import IO_BASE, SPACE, UNWRITTEN, WAIT_SHIFT, MapBit
from emu85.errors import Place, UserError, nearest
from emu85.firmware.image import Image
from emu85.firmware.reader import BINARY_SUFFIXES, read_image

FLOATING_CELL = 0
"""Store index of the byte that the pull-ups give."""


def fit(description: BoardDescription) -> Board:
    """Build the board that a description describes.

    Raises:
        UserError: an image that cannot be read or does not fit its chip, or
            device options that the clock rules out.
    """
    return Board(description)


@dataclass(frozen=True, slots=True)
class RegisterAt:
    """A device's register and the map index where it is reached."""

    index: int
    device: Device
    register: Register


class Board:
    """One single-board computer without its CPU.

    Attributes:
        description: what it was built from.
        clock: CPU clock in hertz, exact; ``clock_hz`` is the same as a float.
        map: int64, ``layout.SPACE`` entries, changed in place only.
        store: uint16, changed in place only.
        readers, writers: by map index, for READ_EXIT and WRITE_EXIT.
        devices: by name.
        serial: the line on SID and SOD, or None.
    """

    def __init__(self, description: BoardDescription) -> None:
        self.description = description
        self.name = description.name
        self.clock: Fraction = description.clock
        self.clock_hz = float(description.clock)
        self.readers: dict[int, Callable[[], int]] = {}
        self.writers: dict[int, Callable[[int], None]] = {}
        self._host: Host = _Unplugged()
        self.devices: dict[str, Device] = {}
        self._sites: dict[str, _Site] = {}
        self._register_sides: dict[str, list[Side]] = {}
        self._chips: list[tuple[ChipUse, Decoded]] = []
        self._ports: list[tuple[DeviceUse, Decoded]] = []
        self._powered = False
        self._wiring = Wiring(description.wires, self._reach)
        self.serial = (
            SerialLine(description.serial, self.clock, self._drive_sid)
            if description.serial
            else None
        )
        self._build_devices()
        self.store = self._place_chips()
        self.map = self._build_map()
        self._programmed = np.zeros(len(self.store), dtype=bool)
        self._load_images()

    # --- what the machine calls -------------------------------------------

    def connect(self, host: Host) -> None:
        """Plug the board into the machine that runs it; before ``power``."""
        self._host = host

    @property
    def schedule(self) -> Schedule:
        """The host's schedule."""
        return self._host.schedule

    def power(self) -> None:
        """Power comes on: RAM is filled, devices and lines start, and all are reset.

        ROM keeps its bytes, and so does RAM with a battery that was powered before.
        ``schedule.now`` should be 0 and its events cleared.
        """
        self._fill_ram()
        for site in self._sites.values():
            site.clear()
        self._wiring.power()
        for device in self.devices.values():
            device.power()
        self._wiring.settle()
        if self.serial:
            self.serial.power(self.schedule)
        self.reset()
        self._powered = True

    def reset(self) -> None:
        """RESET OUT goes high: devices are reset, memory is kept."""
        for device in self.devices.values():
            device.reset()

    def acknowledge(self) -> int:
        """The byte on the bus in an interrupt acknowledge cycle."""
        answer = 0xFF
        answering = [d for d in self.devices.values() if d.answers_inta]
        for device in answering:
            answer &= device.acknowledge()
        return answer if answering else self.description.pull_ups

    def sod(self, level: int) -> None:
        """SOD changed to ``level`` at ``schedule.now``."""
        if self.serial:
            self.serial.sod(level)
        self._wiring.drive(Line.SOD, level)

    def hlda(self, level: int) -> None:
        """HLDA changed to ``level`` at ``schedule.now``."""
        self._wiring.drive(Line.HLDA, level)

    # --- what the user's side calls ----------------------------------------

    @property
    def firmware(self) -> Path | None:
        """The firmware that runs when none is named, found beside the board file or shipped.

        Raises:
            UserError: it is named but is in neither place.
        """
        written = self.description.firmware
        if written is None:
            return None
        found = shelf.find_firmware(str(written), Path(self.description.file).parent)
        node = self.description.firmware_node
        if found is None and node is not None:
            raise node.wrong(
                f"no firmware file {str(written)!r}", expected="a file beside the board file"
            )
        return found

    def program(self, image: Image) -> None:
        """Burn an image into ROM, or put it into RAM; its bytes count as code.

        Raises:
            UserError: a byte of it where there is no memory chip; nothing is written then.
        """
        for segment in image.segments:
            addresses = np.arange(segment.start, segment.start + len(segment.data))
            bare = addresses[~self._has_memory[addresses]]
            if len(bare):
                raise UserError(
                    f"the image has a byte at {bare[0]:04X}, where the board has no memory",
                    Place(image.source),
                    expected=self._memory_ranges(),
                )
        for segment in image.segments:
            self._put(segment.start, np.frombuffer(segment.data, dtype=np.uint8))

    def peek(self, index: int) -> int:
        """What a read at a map index would give, without side effects."""
        sides = [side for side in self._sides(index) if side.read is not Read.NONE]
        value = 0xFF
        for side in sides:
            value &= side.peek()
        return value if sides else self.description.pull_ups

    def poke(self, index: int, value: int) -> None:
        """Put a byte where a read at a map index finds it; ROM is changed as well.

        Raises:
            UserError: no chip there, or a device's register that cannot be set.
        """
        cells = [
            chip.base + _offset_at(chip, index) for _, chip in self._chips if _selects(chip, index)
        ]
        if not cells:
            what = f"port {index - IO_BASE:02X}" if index >= IO_BASE else f"address {index:04X}"
            raise UserError(f"no memory at {what}", expected=self._memory_ranges())
        for cell in cells:
            self.store[cell] = value

    def adjust(self, device: str, control: str, text: str = "") -> None:
        """Work a control of a device by hand, as of ``schedule.now``.

        Raises:
            UserError: no such device or control, or a value it does not take.
        """
        by_name = {name.casefold(): d for name, d in self.devices.items() if d.controls}
        found = by_name.get(device.casefold())
        if found is None:
            names = [d.name for d in by_name.values()]
            raise UserError(
                f"no device {device!r} to work by hand",
                expected=", ".join(names) or "a board with keys or switches",
                nearest=nearest(device, names),
            )
        controls = {c.name: c for c in found.controls}
        if control.casefold() not in controls:
            raise UserError(
                f"{found.name} has no {control!r}",
                expected=", ".join(controls),
                nearest=nearest(control, controls),
            )
        kind = controls[control.casefold()].kind
        value: Any = kind.read(located(Place(), text)) if kind else None
        if kind is None and text:
            raise UserError(f"{control} of {found.name} takes no value")
        found.adjust(control.casefold(), value)

    def memory_map(self) -> list[Region]:
        """The memory space in regions, in order of address."""
        ported = [decoded for _, decoded in self._ports if not decoded.is_port]
        return regions([decoded for _, decoded in self._chips] + ported, IO_BASE)

    def port_map(self) -> list[Region]:
        """The I/O space in regions, in order of port."""
        return regions([decoded for _, decoded in self._ports if decoded.is_port], SPACE - IO_BASE)

    def registers(self) -> list[RegisterAt]:
        """Where each register of each device is, mirrors left out, in order of index."""
        found = []
        for _, decoded in self._ports:
            device = self.devices[decoded.name]
            low, high = decoded.homes
            for index, address, number in zip(
                decoded.indexes.tolist(),
                decoded.addresses.tolist(),
                decoded.offsets.tolist(),
                strict=True,
            ):
                if low <= address <= high:
                    found.append(RegisterAt(index, device, device.registers[number]))
        return sorted(found, key=lambda at: at.index)

    # --- building -----------------------------------------------------------

    def _build_devices(self) -> None:
        for use in self.description.devices:
            site = _Site(self, use.name)
            try:
                device = use.device(use.name, use.options, site)
            except UserError as error:
                if error.place.file:
                    raise
                raise error.at(use.node.place, use.node.source) from None
            self._sites[use.name] = site
            self._register_sides[use.name] = []
            self.devices[use.name] = device

    def _place_chips(self) -> NDArray[np.uint16]:
        base = FLOATING_CELL + 1
        for chip in self.description.memory:
            self._chips.append((chip, _decoded(chip, chip.part.size, chip.part.kind, base)))
            base += chip.part.size
        for use in self.description.devices:
            if use.select is None:
                continue
            size = len(self.devices[use.name].registers)
            decoded = _decoded(use, size, "device", base)
            self._ports.append((use, decoded))
            self._sites[use.name].base = base
            base += size
        store = np.full(base, 0xFF, dtype=np.uint16)
        store[FLOATING_CELL] = self.description.pull_ups
        return store

    def _build_map(self) -> NDArray[np.int64]:
        words = np.full(SPACE, FLOATING_CELL | NO_READER | NO_WRITER, dtype=np.int64)
        taken = np.zeros(SPACE, dtype=np.int64)
        waits = np.zeros(SPACE, dtype=np.int64)
        data = np.zeros(SPACE, dtype=bool)
        data[:IO_BASE] = True
        for chip, decoded in self._chips:
            words[decoded.indexes] = decoded.cells | (ROM if decoded.kind == "rom" else 0)
            data[decoded.indexes] &= not chip.code
            taken[decoded.indexes] += 1
        self._has_memory = taken[:IO_BASE] > 0
        for use, decoded in self._ports:
            self._map_device(self.devices[use.name], decoded, words)
            taken[decoded.indexes] += 1
        for decoded in self._all():
            waits[decoded.indexes] = np.maximum(waits[decoded.indexes], decoded.waits)
        for index in np.flatnonzero(taken > 1).tolist():
            words[index] = self._join(index)
        words |= waits << WAIT_SHIFT
        words |= np.where(data, int(MapBit.NOT_CODE), 0)
        words |= np.where(self._outside_stack(), int(MapBit.NOT_STACK), 0)
        return words

    def _all(self) -> list[Decoded]:
        return [d for _, d in self._chips] + [d for _, d in self._ports]

    def _map_device(self, device: Device, decoded: Decoded, words: NDArray[np.int64]) -> None:
        for number in range(len(device.registers)):
            side = register_side(device, number, self._sites[device.name])
            self._register_sides[device.name].append(side)
            indexes = decoded.indexes[decoded.offsets == number]
            words[indexes] = side.cell | side.bits
            for index in indexes.tolist():
                if side.read is Read.LIVE:
                    self.readers[index] = side.answer
                if side.written:
                    self.writers[index] = side.take

    def _sides(self, index: int) -> list[Side]:
        """Everything that an address selects."""
        found = [
            cell_side(self.store, chip.base + _offset_at(chip, index), chip.kind)
            for _, chip in self._chips
            if _selects(chip, index)
        ]
        for use, decoded in self._ports:
            if _selects(decoded, index):
                found.append(self._register_sides[use.name][_offset_at(decoded, index)])
        return found

    def _join(self, index: int) -> int:
        """The map word, readers and writers where several chips are selected at once."""
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
            word |= NO_READER
        elif len(answering) > 1:
            word |= CONTENTION
        if answering and (not direct or answering[0].read is Read.LIVE):
            word |= READ_EXIT
            self.readers[index] = partial(_answer_all, answering)
        if taking:
            word |= WRITE_EXIT
            self.writers[index] = partial(_tell_all, taking, sides)
        else:
            word |= ROM if any(side.rom for side in sides) else NO_WRITER
        return word

    def _outside_stack(self) -> NDArray[np.bool_]:
        outside = np.zeros(SPACE, dtype=bool)
        if self.description.stack:
            outside[:IO_BASE] = True
            for low, high in self.description.stack:
                outside[low : high + 1] = False
        return outside

    # --- memory ---------------------------------------------------------------

    def _load_images(self) -> None:
        for chip, decoded in self._chips:
            if chip.image is not None:
                self._load_image(chip, decoded, chip.image)

    def _load_image(self, chip: ChipUse, decoded: Decoded, path: Path) -> None:
        if not path.is_file():
            raise chip.node.wrong(f"no image file {str(path)!r} for the {chip.name} chip")
        at = chip.select.low if path.suffix.casefold() in BINARY_SUFFIXES else None
        image = read_image(path, at=at)
        selected = np.zeros(IO_BASE, dtype=bool)
        selected[decoded.addresses] = True
        for segment in image.segments:
            if not selected[segment.start : segment.start + len(segment.data)].all():
                raise chip.node.wrong(
                    f"{path.name} has bytes outside the {chip.name} chip",
                    expected=f"addresses {chip.select.low:04X} to {chip.select.high:04X}",
                )
        self.program(image)

    def _put(self, start: int, data: NDArray[np.uint8]) -> None:
        cells = []
        for _, chip in self._chips:
            first, last = np.searchsorted(chip.addresses, [start, start + len(data)])
            here = chip.addresses[first:last]
            self.store[chip.cells[first:last]] = data[here - start]
            cells.append(chip.cells[first:last])
        self._mark_code(np.concatenate(cells), code=True)

    def _mark_code(self, cells: NDArray[np.int64], *, code: bool) -> None:
        """Let opcode fetches from these bytes be code, or not, at all their mirrors."""
        self._programmed[cells] = code
        for chip, decoded in self._chips:
            if not chip.code:
                not_code = ~self._any_programmed(decoded.indexes)
                self.map[decoded.indexes] &= ~int(MapBit.NOT_CODE)
                self.map[decoded.indexes] |= np.where(not_code, int(MapBit.NOT_CODE), 0)

    def _any_programmed(self, indexes: NDArray[np.int64]) -> NDArray[np.bool_]:
        found = np.zeros(IO_BASE, dtype=bool)
        for chip, decoded in self._chips:
            found[decoded.indexes] |= self._programmed[decoded.cells] | chip.code
        return found[indexes]

    def _fill_ram(self) -> None:
        """RAM as it comes up; the random bytes are SplitMix64's, so they never change."""
        fill = self.description.fill
        for number, (chip, decoded) in enumerate(self._chips):
            if decoded.kind != "ram" or (chip.battery and self._powered):
                continue
            cells = np.arange(decoded.base, decoded.base + decoded.size)
            value = (
                random_bytes(fill.value + number, decoded.size)
                if fill.way == "random"
                else np.full(decoded.size, fill.value, dtype=np.uint8)
            )
            self.store[cells] = value.astype(np.uint16) | UNWRITTEN
            self._mark_code(cells, code=False)

    def _memory_ranges(self) -> str:
        ranges = sorted({chip.homes for _, chip in self._chips})
        return "addresses " + ", ".join(f"{low:04X}-{high:04X}" for low, high in ranges)

    # --- wires ------------------------------------------------------------------

    def _reach(self, sink: Pin | Line, level: int) -> None:
        if isinstance(sink, Pin):
            self.devices[sink.device].sense(sink.pin, level)
        else:
            self._host.drive(sink, level)

    def _drive_sid(self, level: int) -> None:
        self._host.drive(Line.SID, level)

    def _drive_pin(self, device: str, pin: str, level: int) -> None:
        self._wiring.drive(Pin(device, pin), level)


class _Site:
    """The board as one device sees it."""

    def __init__(self, board: Board, name: str) -> None:
        self.clock = board.clock
        self.base = -1
        self._board = board
        self._name = name
        self._shown: dict[int, int] = {}

    @property
    def schedule(self) -> Schedule:
        return self._board.schedule

    def publish(self, register: int, value: int) -> None:
        self._shown[register] = value & 0xFF
        self.restore(register)

    def drive(self, pin: str, level: int) -> None:
        self._board._drive_pin(self._name, pin, level)

    def shown(self, register: int) -> int:
        """What a read of a register finds: published, or the floating bus."""
        return self._shown.get(register, self._board.description.pull_ups)

    def restore(self, register: int) -> None:
        """Undo what the core's own write left in the register's store entry."""
        self._board.store[self.base + register] = self.shown(register)

    def clear(self) -> None:
        """Forget what was published."""
        for register in self._shown:
            self._shown[register] = 0


class _Unplugged:
    """The host of a board that is in no machine: time stands still."""

    def __init__(self) -> None:
        self.schedule = Schedule()

    def drive(self, line: Line, level: int) -> None:
        """No CPU is there to see it."""


def random_bytes(seed: int, count: int) -> NDArray[np.uint8]:
    """Bytes that depend on the seed alone, on every machine and version.

    SplitMix64: Steele, Lea and Flood, "Fast splittable pseudorandom number
    generators", OOPSLA 2014 (constants from memory); the top byte of each output.
    """
    steps = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = np.uint64(seed) + steps
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((mixed ^ (mixed >> np.uint64(31))) >> np.uint64(56)).astype(np.uint8)


def _decoded(use: ChipUse | DeviceUse, size: int, kind: str, base: int) -> Decoded:
    assert use.select is not None
    return decode(use.select, size, name=use.name, kind=kind, waits=use.waits, base=base)


def _selects(chip: Decoded, index: int) -> bool:
    return chip.is_port == (index >= IO_BASE) and _offset_at(chip, index) >= 0


def _offset_at(chip: Decoded, index: int) -> int:
    return int(chip.table[index - IO_BASE if chip.is_port else index])


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
