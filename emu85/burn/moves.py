"""How an instruction hands control on, told from the rows of the instruction table."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from emu85.bus.cycles import Cycle
from emu85.isa import INSTRUCTIONS, Addr, Instruction, Op, Reg


class Way(enum.Enum):
    """Where the next instruction comes from."""

    ON = "the one after it"
    JUMP = "an address in it"
    CALL = "an address in it, and back"
    RESTART = "a restart address, and back"
    RETURN = "the stack"
    INDIRECT = "HL"
    HALT = "the one after it, once an interrupt has come"


@dataclass(frozen=True, slots=True)
class Move:
    """``restart`` is the address of :attr:`Way.RESTART`."""

    way: Way
    conditional: bool
    restart: int = 0

    @property
    def goes_on(self) -> bool:
        """Whether the instruction after it may come next, or once what is called has returned."""
        on = (Way.ON, Way.HALT, Way.CALL, Way.RESTART)
        return self.conditional or self.way in on


def _move(one: Instruction) -> Move:
    does = {cycle.does: cycle for cycle in one.cycles}
    conditional = one.condition is not None
    if Op.RESTART in does:
        return Move(Way.RESTART, conditional, does[Op.RESTART].operand)
    if Op.HL_TO_PC in does:
        return Move(Way.INDIRECT, conditional)
    if Op.HALT in does:
        return Move(Way.HALT, conditional)
    if Op.JUMP not in does:
        return Move(Way.ON, conditional)
    if any(cycle.register is Reg.PCH and cycle.kind is Cycle.MW for cycle in one.cycles):
        return Move(Way.CALL, conditional)
    if any(cycle.address is Addr.SP_UP for cycle in one.cycles):
        return Move(Way.RETURN, conditional)
    return Move(Way.JUMP, conditional)


MOVES: tuple[Move, ...] = tuple(_move(one) for one in INSTRUCTIONS)
"""By opcode."""
