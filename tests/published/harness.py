"""The one place where the published checks touch the emulator.

A :class:`Rig` is a machine on a board of 64 K of RAM, with one switch bank that
answers every input port and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import INDEX_MASK, WAIT_SHIFT
from emu85.firmware import assemble
from emu85.machine import Machine

from .model import Processor

BOARD = """
name: rig
crystal: 6.144 MHz
memory:
  - ram: 64K
    at: 0000-FFFF
    code: yes
ports:
  - device: switches
    at: 00-FF
  - device: lamps
    at: 00-FF
"""

REGISTERS = ("A", "F", "B", "C", "D", "E", "H", "L", "SP", "PC")


class Seen(NamedTuple):
    """A machine cycle as the trace tells it; ``t`` is its length in T-states."""

    type: str
    address: int
    data: int
    t: int
    io_m: int
    s1: int
    s0: int
    waits: int
    lines: int


class Rig:
    """A machine to put programs and instructions into."""

    def __init__(self) -> None:
        self.machine = Machine.from_text(BOARD)
        self.machine.power()
        self.interrupted_at = 0

    # Program and state

    def put(self, address: int, data: Iterable[int]) -> None:
        """Place bytes in memory, wrapping at 64 K."""
        for n, byte in enumerate(data):
            self.machine.memory[address + n & 0xFFFF] = byte

    def assemble(self, text: str) -> dict[str, int]:
        """Assemble a program into memory; its symbols come back."""
        image = assemble(text, "program.asm").image
        for segment in image.segments:
            self.put(segment.start, segment.data)
        return dict(image.symbols)

    def fill(self, data: Sequence[int]) -> None:
        """Put all 64 K of memory at once."""
        self.machine.board.store[self._cells(0, 0x10000)] = np.frombuffer(bytes(data), np.uint8)

    def bytes(self, start: int, end: int) -> npt.NDArray[np.int64]:
        """Memory from ``start`` up to but not including ``end``."""
        stored = self.machine.board.store[self._cells(start, end)]
        return (stored & 0xFF).astype(np.int64)

    def _cells(self, start: int, end: int) -> npt.NDArray[np.int64]:
        # Straight into the board's store: reading 64 K byte by byte would take
        # longer than the programs do.
        return self.machine.board.map[start:end] & INDEX_MASK

    def number(self, address: int, length: int) -> int:
        """A number in memory, low byte first, as the 8085 keeps them."""
        return int.from_bytes(bytes(self.machine.memory[address : address + length]), "little")

    def put_number(self, address: int, value: int, length: int) -> None:
        """Place a number in memory, low byte first."""
        self.put(address, value.to_bytes(length, "little"))

    def set(self, **values: int) -> None:
        """Set registers by the names of the model (``A`` ... ``SP``, ``PC``)."""
        for name, value in values.items():
            setattr(self.machine.registers, name.lower(), value)

    def get(self, name: str) -> int:
        """A register by the model's name."""
        return int(getattr(self.machine.registers, name.lower()))

    def registers(self) -> dict[str, int]:
        """All registers by the model's names."""
        return {name: self.get(name) for name in REGISTERS}

    def put_state(self, cpu: Processor) -> None:
        """Set every register as the model has it."""
        self.set(**{name: getattr(cpu, name) for name in REGISTERS})

    # Running

    def cycles_since(self, total: int) -> list[Seen]:
        """The machine cycles recorded after ``trace.total`` stood at ``total``."""
        count = self.machine.trace.total - total
        records = self.machine.trace.last(count)
        ends = [*records["t"][1:].tolist(), self.machine.t]
        return [_seen(record, end) for record, end in zip(records, ends, strict=True)]

    def instruction(self) -> list[Seen]:
        """Run one instruction, or one interrupt's acknowledgement."""
        total = self.machine.trace.total
        self.machine.step_instruction()
        return self.cycles_since(total)

    def until_acknowledged(self) -> list[Seen]:
        """Run to the acknowledgement of a request already made and return its cycles.

        Inputs are sampled one T-state before an instruction ends, so one more
        instruction may come first.  ``interrupted_at`` becomes the address of
        the instruction that was put off.
        """
        for _ in range(2):
            self.interrupted_at = self.get("PC")
            seen = self.instruction()
            if seen[0].type in ("BI", "INA"):
                return seen
        raise AssertionError("the request was not taken")

    def cycle(self) -> Seen:
        """Run one machine cycle."""
        total = self.machine.trace.total
        self.machine.step()
        return self.cycles_since(total)[-1]

    def run(self, *, start: int = 0, limit: int = 50_000_000) -> int:
        """Run from ``start`` until the HLT that ends the program.

        Returns the T-states from the first opcode fetch to the end of HLT's fetch.
        """
        self.machine.reset()
        self.set(PC=start)
        before = self.machine.t
        held = self.machine.run(t_states=limit)
        assert self.machine.registers.halted, held
        return self.halted_at() - before

    def halted_at(self) -> int:
        """T-state at which the halt state was entered."""
        last = self.machine.trace.last(1)[0]
        assert last["type"] == Cycle.HALT
        return int(last["t"])

    # Lines, ports and waits

    def drive(self, line: Line, level: int) -> None:
        """Put an input line at a level, as of now."""
        self.machine.drive(line, level)

    def drive_at(self, t: int, line: Line, level: int) -> None:
        """Put an input line at a level at a T-state to come."""
        self.machine.schedule.at(t, lambda: self.machine.drive(line, level))

    def acknowledge_with(self, *data: int) -> None:
        """Put these bytes on the bus in the interrupt acknowledge cycles to come."""
        answers = iter(data)
        board: Any = self.machine.board
        board.acknowledge = lambda: next(answers)

    def set_input(self, value: int) -> None:
        """What every input port answers."""
        self.machine.board.devices["switches"].adjust("value", value)

    def output(self) -> int:
        """What was written last to any output port."""
        lamps: Any = self.machine.board.devices["lamps"]
        return int(lamps.value)

    def set_waits(self, index: int, waits: int) -> None:
        """Wait states of a memory address, or of port ``index - layout.IO_BASE``."""
        self.machine.board.map[index] |= waits << WAIT_SHIFT


def _seen(record: Any, end: int) -> Seen:
    lines = int(record["lines"])
    return Seen(
        Cycle(int(record["type"])).name,
        int(record["address"]),
        int(record["data"]),
        end - int(record["t"]),
        int(bool(lines & Line.IO_M)),
        int(bool(lines & Line.S1)),
        int(bool(lines & Line.S0)),
        int(record["waits"]),
        lines,
    )
