"""Which registers an instruction changes, told from its rows in the instruction table."""

from __future__ import annotations

from emu85.bus.cycles import READS
from emu85.isa import Addr, Instruction, Op, Reg

_OWN = frozenset({Reg.B, Reg.C, Reg.D, Reg.E, Reg.H, Reg.L, Reg.A, Reg.F})
_HL, _DE = {Reg.H, Reg.L}, {Reg.D, Reg.E}
_PAIRS = {Reg.B: {Reg.B, Reg.C}, Reg.D: _DE, Reg.H: _HL}
_UNSPECIFIED = {"K", "V"}
"""Flags that Intel's manuals do not have: nobody relies on them."""
_OF_A = {Op.ADD, Op.ADC, Op.SUB, Op.SBB, Op.ANA, Op.XRA, Op.ORA, Op.DAA, Op.CMA, Op.RIM}
_OF_A |= {Op.RLC, Op.RRC, Op.RAL, Op.RAR}
_FIXED: dict[Op, set[Reg]] = {
    Op.DAD: _HL,
    Op.WZ_TO_HL: _HL,
    Op.XCHG: _HL | _DE,
    Op.DSUB: _HL,
    Op.ARHL: _HL,
    Op.RDEL: _DE,
    Op.HL_PLUS_Z: _DE,
    Op.SP_PLUS_Z: _DE,
}


def changed(one: Instruction) -> frozenset[Reg]:
    """Registers, F for any flag, that the instruction may leave with another value."""
    found = {Reg.F} if set(one.flags.split()) - _UNSPECIFIED else set()
    for cycle in one.cycles:
        if cycle.kind in READS and cycle.address is not Addr.PC_HELD:
            found.add(cycle.register)
        if cycle.does in (Op.MOVE, Op.INR, Op.DCR):
            found.add(cycle.register)
        elif cycle.does in (Op.INX, Op.DCX):
            found |= _PAIRS.get(Reg(cycle.operand), set())
        elif cycle.does in _OF_A:
            found.add(Reg.A)
        found |= _FIXED.get(cycle.does, set())
    return frozenset(found & _OWN)
