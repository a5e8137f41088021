"""A board that is powered: chips, devices, wires and the serial line, fitted together.

``fit`` turns a description into a :class:`Board`.  The machine's core works on
``map`` and ``store`` directly (see ``emu85.cpu.layout``); the board is called
only where a map word says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emu85.board import shelf
from emu85.board.clashes import clashes, refuse_clashes, selected
from emu85.board.contents import Contents
from emu85.board.decode import Decoded, Region, decode, regions
from emu85.board.deeds import Deeds
from emu85.board.description import BoardDescription, ChipUse, CpuClock, DeviceUse
from emu85.board.device import Device, OptionError, Register
from emu85.board.ends import BoardEnds, terminal_wires
from emu85.board.host import Host
from emu85.board.kinds import located
from emu85.board.mapping import FLOATING_CELL, Mapping, Placed
from emu85.board.memory import Memory
from emu85.board.nets import Nets
from emu85.board.schedule import Schedule
from emu85.board.serial import SerialLine, Terminal
from emu85.board.site import DeviceSite, Socket
from emu85.board.wiring import Wiring
from emu85.bus.lines import Line
from emu85.cpu.layout import IO_BASE, SPACE, WAIT_MASK, WAIT_SHIFT
from emu85.errors import Mistakes, Place, UserError, nearest
from emu85.firmware.image import Image


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
        deeds: told of all that is done to it from outside.
        serial_ends: where characters can be sent and received: the terminals of
            devices by the device's name, then ``serial`` by that name.  The console
            begins at the first.
    """

    def __init__(self, description: BoardDescription) -> None:
        self.description = description
        self.name = description.name
        self.clock = description.clock
        self.clock_hz = float(description.clock)
        self._socket = Socket()
        self._powered = False
        self.devices: dict[str, Device] = {}
        self._ends = BoardEnds(description, self.devices, self._socket)
        nets = Nets({use.name: use.device for use in description.devices}.get)
        for wire in chain(description.wires, terminal_wires(description)):
            nets.add(wire)
        self._wiring = Wiring(nets, self._ends)
        self._sites: dict[str, DeviceSite] = {}
        mistakes = Mistakes()
        for use in description.devices:
            with mistakes.noted():
                self._fit_device(use)
        mistakes.tell()
        self._ends.put_terminals(self._wiring, self.clock)
        self._answering = [d for d in self.devices.values() if d.answers_inta]
        self._chips, self._placed, self.store = self._lay_out()
        self._selected = selected(description, self._chips, self._placed)
        refuse_clashes(self._selected)
        mapping = Mapping(
            [(decoded, use.code) for use, decoded in self._chips], self._placed, self.store
        )
        if description.stack:
            mapping.keep_stack_in(description.stack)
        self._mapping = mapping
        for placed in self._placed:
            watch = partial(mapping.watch, placed.decoded)
            self._sites[placed.device.name].watch_with(watch)
        self.map = mapping.words
        self.readers = mapping.readers
        self.writers = mapping.writers
        self._memory = Memory(self._chips, self.store, self.map)
        self.serial = (
            SerialLine(description.serial, self.clock, self._drive_sid)
            if description.serial
            else None
        )
        self.serial_ends: dict[str, SerialLine | Terminal] = {**self._ends.terminals}
        if self.serial:
            self.serial_ends["serial"] = self.serial
        self.deeds = Deeds()
        for name, end in self.serial_ends.items():
            end.told = partial(self.deeds.tell_of_end, name)
            end.noted = partial(self._note_of_end, name)

    # --- what the machine calls -------------------------------------------

    def connect(self, host: Host) -> None:
        """Plug the board into the machine that runs it; before ``power``."""
        self._socket.host = host

    @property
    def schedule(self) -> Schedule:
        """The host's schedule."""
        return self._socket.host.schedule

    def power(self) -> None:
        """Power comes on: RAM is filled, devices and lines start, and all are reset.

        ROM keeps its bytes, and so does RAM with a battery that was powered before.
        ``schedule.now`` should be 0 and its events cleared.

        Raises:
            UserError: a battery file that cannot be read or does not fit.
        """
        self._memory.power(self.description.fill, batteries_charged=self._powered)
        for site in self._sites.values():
            site.clear()
        self._wiring.power()
        self._wiring.clock_source(CpuClock.CLK, Fraction(1), Fraction(1, 2))
        for terminal in self._ends.terminals.values():
            terminal.power(self.schedule)
        for device in self.devices.values():
            device.power()
        self._wiring.settle()
        if self.serial:
            self.serial.power(self.schedule)
        self.reset()
        self._powered = True

    def save_batteries(self) -> None:
        """Write RAM whose battery has a file to it, as when power goes off; if it was powered.

        Raises:
            UserError: a file that cannot be written.
        """
        if self._powered:
            self._memory.save_batteries()

    def reset(self) -> None:
        """RESET OUT goes high and low again: devices are reset, memory is kept."""
        self._wiring.drive_source(Line.RESET_OUT, 1)
        for device in self.devices.values():
            device.reset()
        self._wiring.drive_source(Line.RESET_OUT, 0)

    def acknowledge(self) -> int:
        """The byte on the bus in an interrupt acknowledge cycle."""
        byte: int | None = None
        for device in self._answering:
            answer = device.acknowledge()
            if answer is not None:
                byte = answer if byte is None else byte & answer
        return self.description.pull_ups if byte is None else byte

    def sod(self, level: int) -> None:
        """SOD changed to ``level`` at ``schedule.now``."""
        if self.serial:
            self.serial.sod(level)
        self._wiring.drive_source(Line.SOD, level)

    def _drive_sid(self, level: int) -> None:
        self._socket.host.drive(Line.SID, level)

    def _note_of_end(self, name: str, description: str) -> None:
        self._socket.host.note(description, name)

    def hlda(self, level: int) -> None:
        """HLDA changed to ``level`` at ``schedule.now``."""
        self._wiring.drive_source(Line.HLDA, level)

    # --- what is kept of it ------------------------------------------------

    def parts(self) -> list[object]:
        """Everything whose attributes change while the board runs.

        A part may name attributes that are no state of its own in ``NOT_STATE``.  The
        arrays are no parts.
        """
        return [
            *self._sites.values(),
            *self.devices.values(),
            *self._wiring.parts(),
            *self.serial_ends.values(),
            self._memory,
        ]

    def fixed(self) -> list[object]:
        """What parts hold on to and what is never another."""
        return [self, self._socket, self._wiring, self._ends, self._mapping, self.map, self.store]

    def contents(self) -> Contents:
        """What all chips hold."""
        return self._memory.contents()

    def put_contents(self, contents: Contents) -> None:
        """Give all chips what they held.

        Raises:
            UserError: contents of another board.
        """
        self._memory.put_contents(contents)

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

    def leave_blank(self, blank: NDArray[np.bool_]) -> None:
        """Have bytes of ROM be no code, as where nothing was burnt; bool, 65 536."""
        self._memory.leave_blank(blank)

    def program(self, image: Image) -> None:
        """Burn an image into ROM, or put it into RAM; its bytes count as code.

        Raises:
            UserError: a byte of it where there is no memory chip; nothing is written then.
        """
        self._memory.program(image)
        self.deeds.tell("program", [(each.start, each.data) for each in image.segments])

    def peek(self, index: int) -> int:
        """What a read at a map index would give, without side effects."""
        value = self._mapping.peek(index)
        return self.description.pull_ups if value is None else value

    def poke(self, index: int, value: int) -> None:
        """Put a byte where a read at a map index finds it; ROM is changed as well.

        Raises:
            UserError: no chip there, or a device's register that cannot be set.
        """
        self.poke_all([(index, value)])

    def poke_all(self, bytes_at: Iterable[tuple[int, int]]) -> None:
        """:meth:`poke` for many map indices with their bytes: all of them or none.

        Raises:
            UserError: as :meth:`poke` does.
        """
        pokes = list(bytes_at)
        self._memory.poke_all(pokes)
        self.deeds.tell("poke", pokes)

    def takes_port(self, port: int) -> bool:
        """Whether a device takes bytes at a port."""
        return IO_BASE + port in self.writers

    def put_port(self, port: int, value: int) -> None:
        """Give a port a byte as OUT would, in no time.

        Raises:
            KeyError: nothing takes a byte there.
        """
        self.writers[IO_BASE + port](value)
        self.deeds.tell("port", port, value)

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
        self.deeds.tell("adjust", device, control, text)

    def end_pace(self) -> None:
        """Tell the devices that the user has ended the pace that one of them asked for."""
        for each in self.devices.values():
            each.pace_ended()
        self.deeds.tell("pace ended")

    def memory_map(self) -> list[Region]:
        """The memory space in regions, in order of address."""
        return regions(self._decoded(ports=False), IO_BASE)

    def port_map(self) -> list[Region]:
        """The I/O space in regions, in order of port."""
        return regions(self._decoded(ports=True), SPACE - IO_BASE)

    def wait_states(self) -> NDArray[np.int64]:
        """Those of each memory and I/O cycle: int64, ``layout.SPACE`` counts, as in ``map``."""
        return self.map >> WAIT_SHIFT & WAIT_MASK

    def clashes(self) -> list[str]:
        """Chips that are selected together, a line a pair, each with its place in the file."""
        return list(clashes(self._selected))

    def registers(self) -> list[RegisterAt]:
        """Where each register of each device is, mirrors left out, in order of index."""
        found = []
        for placed in self._placed:
            decoded = placed.decoded
            low, high = decoded.homes
            for address in range(low, high + 1):
                index = address + IO_BASE if decoded.is_port else address
                register = placed.device.registers[decoded.offset_at(index)]
                found.append(RegisterAt(index, placed.device, register))
        return sorted(found, key=lambda at: at.index)

    # --- building -----------------------------------------------------------

    def _fit_device(self, use: DeviceUse) -> None:
        site = DeviceSite(
            use.name, self._socket, self.clock, self.description.pull_ups, self._wiring
        )
        try:
            device = use.device(use.name, use.options, site)
        except UserError as error:
            if error.place.file:
                raise
            node = error.node(use.node) if isinstance(error, OptionError) else use.node
            raise error.at(node.place, node.source) from None
        self._sites[use.name] = site
        self.devices[use.name] = device

    @property
    def chip_cells(self) -> int:
        """Cells of the store below this are those of memory chips, and the floating bus."""
        return FLOATING_CELL + 1 + sum(chip.part.size for chip in self.description.memory)

    def _lay_out(
        self,
    ) -> tuple[list[tuple[ChipUse, Decoded]], list[Placed], NDArray[np.uint16]]:
        """Give every chip and register its entries of the store, one after another."""
        base = FLOATING_CELL + 1
        chips: list[tuple[ChipUse, Decoded]] = []
        for chip in self.description.memory:
            chips.append((chip, _decoded(chip, chip.part.size, chip.part.kind, base)))
            base += chip.part.size
        placed: list[Placed] = []
        for use in self.description.devices:
            if use.select is not None:
                device = self.devices[use.name]
                decoded = _decoded(use, len(device.registers), "device", base)
                placed.append(Placed(device, decoded, self._sites[use.name]))
                base += decoded.size
        store = np.full(base, 0xFF, dtype=np.uint16)  # a blank EPROM is all ones
        store[FLOATING_CELL] = self.description.pull_ups
        for each in placed:
            site = self._sites[each.device.name]
            site.place(store, each.decoded.base, each.decoded.size)
        return chips, placed, store

    def _decoded(self, *, ports: bool) -> list[Decoded]:
        everything = [decoded for _, decoded in self._chips] + [p.decoded for p in self._placed]
        return [decoded for decoded in everything if decoded.is_port == ports]


def _decoded(use: ChipUse | DeviceUse, size: int, kind: str, base: int) -> Decoded:
    assert use.select is not None
    return decode(use.select, size, name=use.name, kind=kind, waits=use.waits, base=base)
