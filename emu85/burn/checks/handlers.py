"""Interrupt routines: what they must leave as they found it.

Only what is plain to see is told, and it is for a person to judge: a routine may well be
meant to change a register or to come once.
"""

from __future__ import annotations

from collections.abc import Iterator

from emu85.burn.checks.kinds import Check
from emu85.burn.effects import changed
from emu85.burn.flow import Kind, Root
from emu85.burn.moves import MOVES, Way
from emu85.burn.study import Study
from emu85.burn.vectors import Comes, Vector, vectors
from emu85.burn.verdict import Note
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.isa import INSTRUCTIONS, Addr, Instruction, Reg

_PAIRED = {Reg.C: Reg.B, Reg.E: Reg.D, Reg.L: Reg.H, Reg.F: Reg.A}
"""Low registers and the high one that is pushed with them."""
_MOST = 1000


def _handlers(study: Study) -> Iterator[Vector]:
    entered = study.survey.entered
    for vector in vectors():
        is_input = vector.line is not None and entered.get(vector.address) is Comes.YES
        if is_input and study.ground.is_held(vector.address):
            yield vector


def _straight(study: Study, at: int) -> list[tuple[int, Instruction]]:
    """The instructions of a routine without branches, its RET last; empty if it has some."""
    found: list[tuple[int, Instruction]] = []
    while len(found) < _MOST and study.ground.is_held(at):
        one = INSTRUCTIONS[study.ground.bytes[at]]
        move = MOVES[one.opcode]
        found.append((at, one))
        if move.way is Way.RETURN and not move.conditional:
            return found
        if move.way is Way.JUMP and not move.conditional:
            at = int.from_bytes(study.ground.bytes[at + 1 : at + 3], "little")
        elif move.way is Way.ON:
            at += one.length
        else:
            break
    return []


def _keeps(study: Study) -> Iterator[Note]:
    for vector in _handlers(study):
        saved: set[Reg] = set()
        for at, one in _straight(study, vector.address):
            saved |= _pushed(one)
            lost = {reg for reg in changed(one) if _PAIRED.get(reg, reg) not in saved}
            if lost:
                names = ", ".join(reg.name for reg in sorted(lost))
                yield Note(f"{vector.name} changes {names} without having saved it", at, False)
                break


def _pushed(one: Instruction) -> set[Reg]:
    if MOVES[one.opcode].way is not Way.ON:
        return set()
    return {
        cycle.register
        for cycle in one.cycles
        if cycle.kind is Cycle.MW and cycle.address is Addr.SP_DOWN
    }


def _enables(study: Study) -> Iterator[Note]:
    flow = study.survey.flow
    for vector in _handlers(study):
        root = Root(vector.address, Kind.INTERRUPT)
        if vector.line is Line.TRAP or not flow.returns(root):
            continue
        ones = [INSTRUCTIONS[study.ground.bytes[at]] for at in flow.instructions_of(root)]
        ways = {MOVES[one.opcode].way for one in ones}
        if any(one.mnemonic == "EI" for one in ones) or ways & {Way.CALL, Way.RESTART}:
            continue
        yield Note(f"{vector.name} returns with interrupts disabled", vector.address, False)


CHECKS = (
    Check("handler-keeps", "interrupt routines keep the registers", _keeps),
    Check("handler-enables", "interrupt routines enable interrupts again", _enables),
)
