"""What a row of the instruction table does inside the CPU, as text."""

from __future__ import annotations

from emu85.isa.terms import OP_TEXT, MachineCycle, Op, Reg

PAIRS = {Reg.B: "BC", Reg.D: "DE", Reg.H: "HL", Reg.SP: "SP"}
"""Register pairs by their high register, as the table has them."""
PAIR_OPS = {Op.INX, Op.DCX, Op.DAD}
"""Operations whose operand is a pair."""


def operation_text(row: MachineCycle) -> str:
    """What a row says is done when it has ended; empty if nothing."""
    if row.does is Op.RESTART:
        operand = f"{row.operand:04X}"
    elif row.does in PAIR_OPS:
        operand = PAIRS[Reg(row.operand)]
    else:
        operand = Reg(row.operand).name
    return OP_TEXT[row.does].format(r=row.register.name, o=operand)
