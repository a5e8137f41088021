"""A board for the parallel chips: the chip, and peripherals that firmware can work.

The firmware plays both sides.  It programs the chip through its ports, and through
the ports of a :class:`Peripheral` it moves and reads the wires on the chip's other
side, so that every check runs over the bus.  What it reads it keeps from 8000 on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, ClassVar

from emu85.board import Device, Read, Register, Site, registry
from emu85.bus.cycles import Cycle
from emu85.firmware import assemble
from emu85.machine import Machine

KEPT = 0x8000

HEAD = """
name: bench
crystal: 6 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
"""

MACROS = """
PUT     MACRO PORT, VALUE
        MVI A, VALUE
        OUT PORT
        ENDM
KEEP    MACRO PORT
        IN PORT
        MOV M, A
        INX H
        ENDM
        ORG 0
        LXI SP, 8400H
        LXI H, 8000H
"""

END = """
DONE:   HLT
"""


class Peripheral(Device):
    """Eight wires out (``q``) and eight in (``p``), and a note of when each came or went."""

    kind = "peripheral"
    registers = (Register("wires", "write q0-q7, read p0-p7", Read.LIVE, written=True),)
    outputs: ClassVar[Mapping[str, str]] = {f"q{bit}": "out" for bit in range(8)}
    inputs: ClassVar[Mapping[str, str]] = {f"p{bit}": "in" for bit in range(8)}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.levels = 0
        self.changes: list[tuple[int, str, int]] = []

    def power(self) -> None:
        self.levels = 0xFF
        self.write(0, 0xFF)
        self.changes.clear()

    def sense(self, pin: str, level: int) -> None:
        bit = int(pin[1])
        self.levels = self.levels & ~(1 << bit) | level << bit
        self.changes.append((self.site.schedule.now, pin, level))

    def read(self, register: int) -> int:
        return self.levels

    def write(self, register: int, value: int) -> None:
        for bit in range(8):
            self.site.drive(f"q{bit}", value >> bit & 1)


@contextmanager
def plugged() -> Iterator[None]:
    """Let board files name a ``peripheral``."""
    known = registry.devices()
    known[Peripheral.kind] = Peripheral
    try:
        yield
    finally:
        del known[Peripheral.kind]


class Bench:
    """A machine on a board of ROM, RAM and what ``text`` adds."""

    def __init__(self, text: str, *, head: str = HEAD) -> None:
        with plugged():
            self.machine = Machine.from_text(head + text, file="bench.yaml", trace=20_000)

    def run(self, *firmware: str, t_states: int = 200_000) -> list[int]:
        """Assemble and run from 0000 to the label DONE, and give the bytes that were kept."""
        image = assemble("".join((MACROS, *firmware, END)), "bench.asm").image
        self.machine.load(image)
        self.machine.run(until=image.symbols["DONE"], t_states=t_states)
        assert self.machine.registers.pc == image.symbols["DONE"], "the firmware did not end"
        return list(self.machine.memory[KEPT : self.machine.registers.hl])

    def peripheral(self, name: str) -> Peripheral:
        device = self.machine.board.devices[name]
        assert isinstance(device, Peripheral)
        return device

    def changes(self, name: str, pin: str) -> list[tuple[int, int]]:
        """(T-state, level) of every change at a peripheral's pin, the first level included."""
        return [(t, level) for t, each, level in self.peripheral(name).changes if each == pin]

    def ends_of(self, kind: Cycle, port: int) -> list[int]:
        """T-states at which the I/O cycles of one kind at a port ended."""
        records = self.machine.trace.all()
        at = (records["type"] == kind) & (records["address"] & 0xFF == port)
        return [int(r["t"]) + 3 + int(r["waits"]) for r in records[at]]
