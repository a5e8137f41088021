"""The addresses at which the 8085 begins by itself, and which of them may come.

Sources: User's Manual, October 1979, section 2.3 and RST n (values from memory), as the
instruction table and :mod:`emu85.isa.acknowledge` have them.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import NamedTuple

from emu85.board.chips.vector import Vector as InterruptVector
from emu85.burn.flow import Flow
from emu85.burn.ground import Ground
from emu85.burn.moves import MOVES, Way
from emu85.bus.interrupts import MASKS
from emu85.bus.lines import BY_NAME, Line
from emu85.isa import INSTRUCTIONS
from emu85.isa.acknowledge import VECTORS

RESTARTS: dict[str, int] = {
    one.text(): MOVES[one.opcode].restart
    for one in INSTRUCTIONS
    if MOVES[one.opcode].way is Way.RESTART and one.specified
}
"""RST 0 to RST 7 and their addresses."""
_SETS_MASKS = 0x08


class Comes(enum.Enum):
    """Whether a vector is used."""

    YES = "it may come"
    PERHAPS = "it may come, but that is not sure"
    NO = "nothing leads there"


@dataclass(frozen=True, slots=True)
class Vector:
    """``line`` is the input that leads there, or None for an RST n alone."""

    name: str
    address: int
    line: Line | None


def vectors() -> list[Vector]:
    """All of them, by address."""
    restarts = [Vector(name, address, None) for name, address in RESTARTS.items()]
    inputs = [Vector(name, address, BY_NAME[name.casefold()]) for name, address in VECTORS.items()]
    return sorted(restarts + inputs, key=lambda vector: vector.address)


def comes(vector: Vector, ground: Ground, flow: Flow) -> Comes:
    """Whether an input of the board may lead to a vector, as far as the flow tells."""
    if vector.line is None:
        return _by_intr(vector, ground, flow)
    if not ground.drives(vector.line):
        return Comes.NO
    if vector.line is Line.TRAP:
        return Comes.YES
    if not flow.enables:
        return Comes.NO
    bit = MASKS[vector.line]
    masks = list(flow.masks())
    if any(isinstance(mask, int) and mask & _SETS_MASKS and not mask & bit for mask in masks):
        return Comes.YES
    return Comes.PERHAPS if any(not isinstance(mask, int) for mask in masks) else Comes.NO


class Jammed(NamedTuple):
    """What an acknowledge of INTR finds on the bus, where the board alone tells it.

    Attributes:
        source: who puts it there.
        opcode: the instruction.
        target: where that leads, None if it is neither an RST nor a CALL.
    """

    source: str
    opcode: int
    target: int | None


def jammed(ground: Ground) -> Jammed | None:
    """What INTR jams; None if nothing asks, or firmware decides that."""
    if not ground.drives(Line.INTR):
        return None
    answering = [one for one in ground.board.devices.values() if one.answers_inta]
    if not answering:
        opcode = ground.board.description.pull_ups
        return Jammed("the floating bus", opcode, _target(bytes([opcode])))
    if len(answering) == 1 and isinstance(answering[0], InterruptVector):
        given = answering[0].jammed
        return Jammed(answering[0].name, given[0], _target(given))
    return None


def _target(given: bytes) -> int | None:
    move = MOVES[given[0]]
    if move.way is Way.RESTART:
        return move.restart
    return int.from_bytes(given[1:3], "little") if move.way is Way.CALL and given[1:] else None


def _by_intr(vector: Vector, ground: Ground, flow: Flow) -> Comes:
    found = jammed(ground)
    is_it = flow.enables and found is not None and found.target == vector.address
    return Comes.YES if is_it else Comes.NO
