"""The instruction set of the 8085 as a table of machine cycles."""

from emu85.isa.table import INSTRUCTIONS
from emu85.isa.terms import (
    OPERAND_BYTES,
    Addr,
    Condition,
    Instruction,
    MachineCycle,
    Op,
    Operand,
    Reg,
)

__all__ = [
    "INSTRUCTIONS",
    "OPERAND_BYTES",
    "Addr",
    "Condition",
    "Instruction",
    "MachineCycle",
    "Op",
    "Operand",
    "Reg",
]
