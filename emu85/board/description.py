"""A board as its file describes it: checked values, each with its place.

Addresses and ports are integers, frequencies and times exact fractions in hertz
and seconds.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from emu85.board.device import Device
from emu85.board.nodes import Node
from emu85.board.parts import Part
from emu85.bus.lines import NAMES, Line
from emu85.timing.ac_table import STANDARD

Times = Mapping[str, Fraction]
"""Seconds by the key of the board file."""


@dataclass(frozen=True, slots=True)
class Select:
    """Which addresses select a chip.

    ``ignores`` is the mask of address lines that the decoder does not look at:
    an address is selected when some change of those lines alone brings it
    between ``low`` and ``high``.
    """

    low: int
    high: int
    ignores: int
    space: int
    """Number of addresses: 10000H for memory, 100H for ports."""
    shared: bool = False
    """Whether another device may answer here too, both driving the bus."""


@dataclass(frozen=True, slots=True)
class ChipUse:
    """A memory chip on the board.

    ``battery_file`` holds its bytes from one session to the next, if it has one;
    ``times`` are those of its data sheet that the file states, by key.
    """

    name: str
    part: Part
    select: Select
    waits: int
    code: bool
    battery: bool
    image: Path | None
    node: Node
    battery_file: Path | None = None
    times: Times = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DeviceUse:
    """A device on the board.

    ``select`` is None for one with wires only; ``terminal`` is the far end of its
    serial wire, if one stands on the board; ``times`` as of a chip.
    """

    name: str
    device: type[Device]
    options: Mapping[str, Any]
    select: Select | None
    waits: int
    node: Node
    terminal: SerialFormat | None = None
    times: Times = field(default_factory=dict)


class Pin(NamedTuple):
    """A pin of a device, by names.  A tuple, since it is looked up at every edge."""

    device: str
    pin: str

    def __str__(self) -> str:
        return f"{self.device}.{self.pin}"


class Tied(enum.Enum):
    """A level that never changes: a pin tied to ground or to the supply."""

    LOW = 0
    HIGH = 1


class CpuClock(enum.Enum):
    """The clock that the CPU gives the board: one period a T-state."""

    CLK = "CLK"


Source = Pin | Line | Tied | CpuClock
"""What may drive a wire."""


def name_of(source: Source) -> str:
    """What a board file calls a source."""
    if isinstance(source, Tied):
        return source.name.lower()
    if isinstance(source, CpuClock):
        return source.value
    return NAMES[source] if isinstance(source, Line) else str(source)


class Gate(enum.Enum):
    """How several drivers of one wire act together."""

    JOINED = "joined"
    """They share the wire, which is high if none pulls it low."""
    ANY = "any"
    """A gate: high if any of them is."""
    ALL = "all"
    """A gate: high if all of them are."""


@dataclass(frozen=True, slots=True)
class Driver:
    """What drives a wire, inverted or not; ``node`` is where the file says so."""

    source: Source
    inverted: bool
    node: Node | None = field(default=None, compare=False)

    def __str__(self) -> str:
        return ("not " if self.inverted else "") + name_of(self.source)


@dataclass(frozen=True, slots=True)
class Wire:
    """What receives, and what drives it."""

    sink: Pin | Line
    drivers: tuple[Driver, ...]
    node: Node
    gate: Gate = Gate.JOINED
    both_ways: bool = False
    """Whether both its pins can drive and be driven."""


@dataclass(frozen=True, slots=True)
class SerialFormat:
    """An asynchronous serial line.

    ``stop`` and ``gap`` count bit times and seconds; ``parity`` is one of
    ``N E O M S`` (none, even, odd, mark, space); ``inverted``: mark is 0;
    ``handshake``: it begins no character while it is not told to by RTS.
    """

    baud: Fraction
    bits: int
    parity: str
    stop: Fraction
    inverted: bool
    gap: Fraction
    handshake: bool = False

    def __str__(self) -> str:
        stop = f"{float(self.stop):g}"
        handshake = ", RTS/CTS" if self.handshake else ""
        return f"{float(self.baud):g} baud, {self.bits}{self.parity}{stop}{handshake}"


@dataclass(frozen=True, slots=True)
class Fill:
    """RAM at power-on: ``zeros``, ``pattern`` (a byte) or ``random`` (a seed)."""

    way: str
    value: int

    def __str__(self) -> str:
        shown = {"zeros": "", "pattern": f" {self.value:02X}", "random": f" {self.value}"}
        return self.way + shown[self.way]


@dataclass(frozen=True, slots=True)
class BoardDescription:
    """Everything a board file says."""

    file: str
    name: str
    about: str
    crystal: Fraction
    pull_ups: int
    fill: Fill
    stack: tuple[tuple[int, int], ...]
    memory: tuple[ChipUse, ...]
    """In order of the file; then the memory of devices that have some."""
    devices: tuple[DeviceUse, ...]
    """In order of the file: memory-mapped, then ports, then wired."""
    wires: tuple[Wire, ...]
    serial: SerialFormat | None
    firmware: Path | None
    """As written, from the board file's folder; not looked up yet."""
    firmware_node: Node | None
    cpu: str = STANDARD
    """The CPU part, for its limits in time only."""
    delays: Times = field(default_factory=dict)
    """Of the parts between the CPU and the chips: those that the file states, by key."""

    @property
    def timed(self) -> list[str]:
        """Names of the chips and devices of which the file states times."""
        uses: tuple[ChipUse | DeviceUse, ...] = (*self.memory, *self.devices)
        return [use.name for use in uses if use.times]

    @property
    def clock(self) -> Fraction:
        """CPU clock in hertz: half the crystal."""
        return self.crystal / 2

    def drives(self, line: Line) -> bool:
        """Whether a device can change an input line of the CPU."""
        wires = [wire for wire in self.wires if wire.sink == line]
        return any(isinstance(d.source, Pin) for wire in wires for d in wire.drivers)

    def without_batteries(self) -> BoardDescription:
        """With RAM on batteries like other RAM: no file is read or written."""
        memory = tuple(replace(chip, battery_file=None) for chip in self.memory)
        return replace(self, memory=memory)
