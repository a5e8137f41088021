"""Boards whose pins are looked at: the harbour light, and one with wait states."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from emu85.firmware import assemble
from emu85.machine import Machine
from emu85.timing.ac_table import part_named
from emu85.timing.edges import Placer
from emu85.timing.weave import Change, changes

CRYSTALS = {"8085AH": 6_144_000, "8085AH-2": 10_000_000, "8085AH-1": 12_000_000}
"""Each part near its fastest, Hz."""
SLOW = """
name: slow
crystal: 6.144 MHz
memory:
  - {{chip: 2716, name: rom, at: 0000-07FF, waits: {waits}}}
  - {{chip: 6116, name: ram, at: 8000-87FF, waits: {waits}}}
"""
HELD = """
name: held
crystal: 6.144 MHz
firmware: held.asm
memory:
  - {chip: 2716, name: rom, at: 0000-07FF, waits: 1}
  - {chip: 6116, name: ram, at: 8000-87FF, waits: 20}
wired:
  - {device: tick, name: often, rate: 20 kHz, pulse: 12 us}
  - {device: tick, name: clock, rate: 1 kHz, pulse: 5 us}
lines:
  HOLD: often.out
  RST 7.5: clock.out
"""
HELD_PROGRAM = """
        ORG     0
        LXI     SP,8800H
        MVI     A,0BH           ; RST 7.5 is let in
        SIM
        EI
WAIT:   HLT
        DAD     B
        JMP     WAIT
        ORG     3CH
        PUSH    PSW
        LDA     8000H
        INR     A
        STA     8000H
        POP     PSW
        EI
        RET
"""


def light() -> Machine:
    """A stretch in which every type of machine cycle goes by, hold among them."""
    machine = Machine.from_board("breakwater")
    firmware = machine.board.firmware
    assert firmware is not None
    machine.load(firmware)
    machine.run(t_states=6000, wait=True)
    machine.board.adjust("hold", "press")
    machine.run(t_states=6000, wait=True)
    return machine


def held() -> Machine:
    """Wait states, halts, interrupts, and HOLD in the midst of all that."""
    machine = Machine.from_text(HELD)
    machine.load(assemble(HELD_PROGRAM, "held.asm").image)
    machine.run(t_states=12_000)
    return machine


def slow(waits: int) -> Machine:
    """Writes and reads back, with so many wait states in every memory cycle."""
    machine = Machine.from_text(SLOW.format(waits=waits))
    machine.board.poke_all(
        list(enumerate([0x21, 0x00, 0x80, 0x36, 0x5A, 0x7E, 0x09, 0x23, 0xC3, 0x03, 0x00]))
    )
    machine.run(t_states=600)
    return machine


def placer(part: str, crystal: int | None = None) -> Placer:
    """For a part near its fastest clock, or at another crystal."""
    return Placer(part_named(part), Fraction(crystal or CRYSTALS[part]))


def moves(machine: Machine, by: Placer) -> Iterator[Change]:
    """All changes of the whole trace."""
    return changes(machine.trace.all(), machine.t, by)


def histories(found: Iterator[Change]) -> dict[str, list[Change]]:
    """The changes of each pin."""
    by_pin: dict[str, list[Change]] = {}
    for change in found:
        by_pin.setdefault(change.pin, []).append(change)
    return by_pin
