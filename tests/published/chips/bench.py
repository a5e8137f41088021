"""Boards and firmware for the checks of chips, which all run over the bus.

The firmware plays both sides.  It programs a chip through its ports, and through
the ports of a :class:`Peripheral` it moves and reads the wires on the chip's other
side.  What it reads it keeps in RAM; it ends at the label DONE.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import Any, ClassVar

from emu85.board import Device, Read, Register, Site, Terminal, registry
from emu85.bus.cycles import Cycle
from emu85.firmware import assemble
from emu85.machine import Machine

KEPT = 0x8000

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
"""

BEGIN = """
        ORG 0
        LXI SP, 8400H       ; the end of RAM
        LXI H, 8000H        ; what is kept
"""

END = """
DONE:   HLT
"""


def head(crystal: str) -> str:
    """The beginning of a board file: 2K of ROM at 0000 and 1K of RAM at 8000."""
    return f"""
name: bench
crystal: {crystal}
memory:
  - {{rom: 2K, at: 0000}}
  - {{ram: 1K, at: 8000}}
"""


def load(machine: Machine, *firmware: str) -> int:
    """Assemble and load firmware, and give the address of DONE, its end."""
    image = assemble("".join((*firmware, END)), "bench.asm").image
    machine.load(image)
    return image.symbols["DONE"]


def run_to(machine: Machine, done: int, t_states: int) -> None:
    """Run until DONE, which must be reached within so many T-states."""
    machine.run(until=done, t_states=t_states)
    assert machine.registers.pc == done, "the firmware did not end"


def kept(machine: Machine) -> list[int]:
    """The bytes that the firmware has kept."""
    return list(machine.memory[KEPT : machine.registers.hl])


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


class FarSide(Peripheral):
    """Eight wires (``p``), each driven and read: what is read is what the chip drives."""

    kind = "far side"
    outputs: ClassVar[Mapping[str, str]] = {f"p{bit}": "out" for bit in range(8)}

    def write(self, register: int, value: int) -> None:
        for bit in range(8):
            self.site.drive(f"p{bit}", value >> bit & 1)


@contextmanager
def plugged() -> Iterator[None]:
    """Let board files name a ``peripheral`` and a ``far side``."""
    known = registry.devices()
    own = (Peripheral, FarSide)
    known.update({device.kind: device for device in own})
    try:
        yield
    finally:
        for device in own:
            del known[device.kind]


class Bench:
    """A machine on a board of ROM, RAM and what ``text`` adds."""

    def __init__(self, text: str, *, head: str = head("6 MHz")) -> None:
        with plugged():
            self.machine = Machine.from_text(head + text, file="bench.yaml", trace=20_000)

    def run(self, *firmware: str, t_states: int = 200_000) -> list[int]:
        """Run firmware from 0000 to DONE, and give the bytes that were kept."""
        done = load(self.machine, MACROS, BEGIN, *firmware)
        run_to(self.machine, done, t_states)
        return kept(self.machine)

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


# --- serial chips ---------------------------------------------------------------------

CLOCK = 3_072_000
"""Of the CPU, with a crystal of 6.144 MHz."""
BIT = CLOCK // 9600
"""T-states, exactly: 320; a character of ten bits takes 3200."""


class SerialBench(Bench):
    """A board with serial chips; terminals speak at T-states that a test sets."""

    def __init__(self, text: str, names: str) -> None:
        """``names`` is assembly that stands before every firmware."""
        super().__init__(text, head=head("6.144 MHz"))
        self._names = names

    def run(self, *firmware: str, t_states: int = 2_000_000) -> list[int]:
        return super().run(self._names, *firmware, t_states=t_states)

    def terminal(self, name: str) -> Terminal:
        end = self.machine.board.serial_ends[name]
        assert isinstance(end, Terminal)
        return end

    def says(self, name: str, data: bytes, t: int = 5000) -> None:
        """Have a terminal begin to send at a T-state."""
        self.machine.schedule.at(t, partial(self.terminal(name).send, data))

    def breaks(self, name: str, bits: int, t: int = 5000) -> None:
        """Have a terminal send a break of so many bits."""
        self.machine.schedule.at(t, partial(self.terminal(name).send_break, bits))


def line(value: int, bits: int, parity: str) -> list[int]:
    """A character on the wire by EIA-232 practice: start, data lowest first, parity, stop."""
    data = [value >> n & 1 for n in range(bits)]
    extra = {"N": [], "E": [sum(data) % 2], "O": [1 - sum(data) % 2], "M": [1], "S": [0]}
    return [0, *data, *extra[parity], 1]
