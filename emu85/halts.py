"""Whether a halt can end."""

from __future__ import annotations

from emu85.bus.interrupts import MASKS
from emu85.bus.lines import Line
from emu85.machine import Machine


def is_halted_for_good(machine: Machine) -> bool:
    """Whether the CPU is halted and no interrupt that the board wires can wake it.

    Interrupts are disabled or masked, and nothing drives TRAP; RESET IN alone ends it.
    """
    registers = machine.registers
    drives = machine.board.description.drives
    if not registers.halted or drives(Line.TRAP):
        return False
    if not registers.ie:
        return True
    let_in = [line for line, mask in MASKS.items() if not registers.masks & mask]
    return not any(drives(line) for line in (Line.INTR, *let_in))
