"""Instructions as text, from what stands in memory."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import is_acknowledge, is_given
from emu85.console.views.acknowledge import jammed_cycle, jammed_instruction, jammed_text
from emu85.console.views.places import Places
from emu85.firmware import disassemble
from emu85.machine import Machine

_LONGEST = 64
"""Records to look back over for the beginning of an instruction."""


def instruction_at(machine: Machine, address: int, opcode: int | None = None) -> str:
    """The instruction at ``address`` with its label; ``opcode`` is what the bus carried."""

    def read(at: int) -> int:
        if opcode is not None and at == address:
            return opcode
        return machine.memory[at & 0xFFFF]

    places = Places.of(machine)
    text = disassemble(read, address, symbols=places.in_code).text
    label = places.exact(address)
    return f"{label}: {text}" if label else text


def begun(machine: Machine, record: Any) -> str:
    """The instruction that an opcode fetch or an interrupt acknowledge of the trace begins."""
    if record["type"] == Cycle.INA:
        return jammed_text(machine.trace, record)
    return instruction_at(machine, int(record["address"]), int(record["data"]))


def instruction_of(machine: Machine) -> str:
    """The instruction that the last machine cycle belongs to, and which cycle of it that is.

    Hold, and what a bus master does meanwhile, may stand within an instruction and is
    no part of it.
    """
    own = 0
    for record in machine.trace.last(_LONGEST)[::-1]:
        kind = Cycle(int(record["type"]))
        if own and is_given(record):
            continue
        if kind in STATES or is_given(record):
            return ""
        own += 1
        number = f"machine cycle {own}"
        if kind is Cycle.OF:
            address = int(record["address"])
            text = instruction_at(machine, address, int(record["data"]))
            return f"{address:04X}  {text}   ({number})"
        if kind is Cycle.INA:
            first = jammed_cycle(machine.trace, record)
            text = jammed_instruction(machine.trace, record)
            return f"{text}   (machine cycle {own - 1 + first})" if first else text
        if is_acknowledge(record):
            return f"interrupt acknowledged   ({number})"
    return ""


def listing(machine: Machine, address: int, count: int) -> Iterator[str]:
    """``count`` instructions from ``address`` on, one a line."""
    places = Places.of(machine)
    pc = machine.registers.instruction_at
    for _ in range(count):
        line = disassemble(lambda at: machine.memory[at & 0xFFFF], address, symbols=places.in_code)
        codes = " ".join(f"{byte:02X}" for byte in line.bytes)
        mark = "PC" if address == pc else ""
        label = places.exact(address)
        yield f"{mark:>3} {address:04X}  {codes:<9} {label + ':' if label else '':<12} {line.text}"
        address = (address + len(line.bytes)) & 0xFFFF
