"""A small board with one of everything, for tests of the machine itself.

The CPU clock is 1 MHz, so a T-state is a microsecond.  After power-on the
shortest RESET has taken three T-states (8085AH data sheet; value from memory),
so the first opcode fetch begins at T-state 3.
"""

from __future__ import annotations

from emu85.bus.cycles import Cycle
from emu85.firmware import assemble
from emu85.machine import Machine

BOARD = """
name: rig
crystal: 2 MHz
pull-ups: FF
stack: 8F00-8FFF
memory:
  - {rom: 4K, name: program, at: 0000-0FFF}
  - {ram: 4K, name: work, at: 8000-8FFF, ignores: A13}
  - {ram: 256, name: slow, at: C000-C0FF, waits: 2, code: yes}
  - {ram: 256, name: left, at: D000-D0FF}
  - {ram: 256, name: right, at: D000-D0FF}
  - {device: converter, name: gauge, at: E800-E801, values: [00], convert: 10 us}
ports:
  - {device: switches, name: bank, at: 00, value: 5A}
  - {device: latch, name: control, at: 20, readable: yes, clear: yes}
  - {device: lamps, name: lamps, at: 30, waits: 1}
wired:
  - {device: key, name: key, hold: 50 us}
  - {device: vector, name: jam, rst: 5}
lines:
  RST 6.5: key.out
  INTR: jam.intr
  jam.request: {any: [control.q0, HLDA]}
serial: {baud: 10000}
"""
FIRST_FETCH = 3


def rig(program: str = "", trace: int = 1000) -> Machine:
    """A machine on the board with a program assembled into its ROM and RAM."""
    machine = Machine.from_text(BOARD, trace=trace)
    if program:
        machine.load(assemble(program, "program.asm").image)
    return machine


def cycles(machine: Machine, last: int | None = None) -> list[str]:
    """The trace as text: start, type, address, data."""
    records = machine.trace.all() if last is None else machine.trace.last(last)
    return [
        f"{r['t']} {Cycle(int(r['type'])).name} {int(r['address']):04X} {int(r['data']):02X}"
        for r in records
    ]
