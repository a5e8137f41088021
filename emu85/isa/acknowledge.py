"""The machine cycles by which the 8085 takes an interrupt.

Source: User's Manual, October 1979, section 2.3 (value from memory).  TRAP and
the RST x.5 inputs are taken by a six-state bus idle cycle and two pushes.  INTR
is taken by an INTA cycle in place of the opcode fetch; further bytes of a jammed
instruction are fetched by INTA cycles too, and the PC does not advance.
"""

from __future__ import annotations

from dataclasses import replace

from emu85.bus.cycles import Cycle
from emu85.isa.terms import Addr, Instruction, MachineCycle, Op, Reg

RESTART_INPUT: tuple[MachineCycle, ...] = (
    MachineCycle(Cycle.BI, 6, Addr.PC_HELD, acknowledges=True),
    MachineCycle(Cycle.MW, 3, Addr.SP_DOWN, Reg.PCH),
    MachineCycle(Cycle.MW, 3, Addr.SP_DOWN, Reg.PCL, Op.VECTOR),
)
"""How TRAP and RST 7.5, 6.5 and 5.5 are taken: 12 T-states."""

VECTORS: dict[str, int] = {"TRAP": 0x24, "RST 7.5": 0x3C, "RST 6.5": 0x34, "RST 5.5": 0x2C}
"""Restart address of each input, highest priority first."""


def jammed(instruction: Instruction) -> tuple[MachineCycle, ...]:
    """The cycles of ``instruction`` when it arrives by INTA instead of from memory.

    Published for RST n and CALL; for any other opcode this is our choice.
    """
    return tuple(_jam(cycle) for cycle in instruction.cycles)


def _jam(cycle: MachineCycle) -> MachineCycle:
    if cycle.address is not Addr.PC:
        return cycle
    return replace(cycle, kind=Cycle.INA, address=Addr.PC_HELD, skips=0)
