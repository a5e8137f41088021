"""T-states of instructions with the wait states of where the code and its stack stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from emu85.bus.cycles import Cycle
from emu85.isa import INSTRUCTIONS, Addr, Instruction, MachineCycle

_OF_THE_STACK = {Addr.SP, Addr.SP_UP, Addr.SP_DOWN}


class Waits(NamedTuple):
    """Wait states of each machine cycle that reads the code, or works on the stack."""

    code: int = 0
    stack: int = 0


NO_WAITS = Waits()


def _name(one: Instruction) -> str:
    registers = ",".join(operand for operand in one.operands if isinstance(operand, str))
    return f"{one.mnemonic} {registers}".strip()


_BY_NAME: Mapping[str, Instruction] = {_name(one): one for one in reversed(INSTRUCTIONS)}
"""The lower opcode where two have the same name."""


def named(name: str) -> Instruction:
    """An instruction by its mnemonic and registers: ``MVI B``, ``JNZ``, ``ORA C``."""
    return _BY_NAME[name]


def t_states(one: Instruction, waits: Waits, *, taken: bool = True) -> int:
    """How long an instruction takes that reads or writes no memory but code and stack.

    Args:
        taken: whether its condition, if it has one, is met.
    """
    cycles = one.cycles
    if not taken and one.cycles_not_taken is not None:
        cycles = one.cycles_not_taken
    return sum(cycle.t_states + _waits(cycle, waits) for cycle in cycles)


def _waits(cycle: MachineCycle, waits: Waits) -> int:
    if cycle.kind is Cycle.BI:  # READY is not looked at
        return 0
    return waits.stack if cycle.address in _OF_THE_STACK else waits.code
