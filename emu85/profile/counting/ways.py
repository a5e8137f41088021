"""What an instruction does to the stack and to the path, by opcode, told from its rows."""

from __future__ import annotations

import enum

import numpy as np

from emu85.bus.cycles import Cycle
from emu85.isa import INSTRUCTIONS, Addr, Instruction, Op, Reg


class Way(enum.IntEnum):
    """How the stack level, or the path, changes."""

    NONE = 0
    PUSH = 1
    POP = 2
    CALL = 3
    """CALL, conditional calls, RST, RSTV: pushes the PC."""
    RETURN = 4
    EXCHANGE = 5
    """XTHL: the level stays, and is told."""
    LOAD_SP = 6
    """LXI SP: the level is the operand."""
    COPY_SP = 7
    """SPHL: the level is no longer known."""
    RAISE_SP = 8
    LOWER_SP = 9
    TO_HL = 10
    """PCHL."""


def _way(one: Instruction) -> Way:
    does = {cycle.does: cycle.operand for cycle in one.cycles}
    if any(cycle.register is Reg.PCL for cycle in one.cycles):
        return Way.CALL
    for op, way in ((Op.HL_TO_PC, Way.TO_HL), (Op.HL_TO_SP, Way.COPY_SP)):
        if op in does:
            return way
    if Op.WZ_TO_SP in does:
        return Way.LOAD_SP
    if does.get(Op.INX) == Reg.SP:
        return Way.RAISE_SP
    if does.get(Op.DCX) == Reg.SP:
        return Way.LOWER_SP
    pops = any(c.kind is Cycle.MR and c.address is Addr.SP_UP for c in one.cycles)
    pushes = any(c.kind is Cycle.MW and c.address is Addr.SP_DOWN for c in one.cycles)
    if pops and pushes:
        return Way.EXCHANGE
    if pops:
        return Way.RETURN if Op.JUMP in does else Way.POP
    return Way.PUSH if pushes else Way.NONE


WAYS = np.array([_way(one) for one in INSTRUCTIONS], np.int64)
"""int64, by opcode."""
LENGTHS = np.array([one.length for one in INSTRUCTIONS], np.int64)
"""Bytes of the instruction, int64, by opcode."""
