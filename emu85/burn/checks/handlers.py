"""Interrupt routines: what they must leave as they found it.

Only what is plain to see is told, and it is for a person to judge: a routine may well be
meant to change a register or to come once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from emu85.burn.checks.kinds import Check
from emu85.burn.effects import changed
from emu85.burn.entered import returns
from emu85.burn.flow import Kind, Root
from emu85.burn.moves import MOVES, Way
from emu85.burn.state import HELD, IE, Kept, State
from emu85.burn.study import Study
from emu85.burn.vectors import Comes, Vector, vectors
from emu85.burn.verdict import Note
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.isa import INSTRUCTIONS, Addr, Instruction, Op, Reg

_PAIRED = {Reg.C: Reg.B, Reg.E: Reg.D, Reg.L: Reg.H, Reg.F: Reg.A}
"""Low registers and the high one that is pushed with them."""
_LOADS_SP = {Op.HL_TO_SP, Op.WZ_TO_SP}
_MOST = 5000
"""Instructions of a routine that are looked at, each again with other registers saved."""


def _handlers(study: Study) -> Iterator[Vector]:
    """The vectors of inputs, and where INTR leads by what the board jams, or led in the run."""
    entered = study.survey.entered
    told: set[int] = set()
    for vector in vectors():
        is_input = vector.line is not None and vector.address in entered
        comes = is_input or entered.get(vector.address) is Comes.YES
        if comes and study.ground.is_held(vector.address):
            told.add(vector.address)
            yield vector
    for address in sorted(study.survey.served - told):
        yield Vector("INTR", address, Line.INTR)


class _Met(NamedTuple):
    """An instruction on a way through a routine, and what was saved on it before."""

    at: int
    one: Instruction
    saved: frozenset[Reg]


_STORES_PAIR = "SHLD"
"""A pair is saved in memory like this; what STA stores may be a count as well."""


def _ways(study: Study, start: int, *, hears_calls: bool = True) -> Iterator[_Met]:
    """The instructions on all ways from an address on, routines that are called included.

    What those leave on the stack is saved as well, if ``hears_calls``.  A way ends with a
    return, and where control goes by HL or out of the image.
    """
    waiting: list[tuple[int, frozenset[Reg]]] = [(start, frozenset())]
    seen = set(waiting)
    while waiting and len(seen) < _MOST:
        at, saved = waiting.pop()
        if not study.ground.is_held(at):
            continue
        one = INSTRUCTIONS[study.ground.bytes[at]]
        yield _Met(at, one, saved)
        after = saved | _pushed(one)
        if hears_calls:
            after |= _saved_by_call(study, at, one)
        following = [(to & 0xFFFF, after) for to in _next(study, at, one)]
        fresh = [each for each in following if each not in seen]
        seen.update(fresh)
        waiting += fresh


def _saved_by_call(study: Study, at: int, one: Instruction) -> set[Reg]:
    """What a routine that is called leaves on the stack for its caller."""
    if MOVES[one.opcode].way is not Way.CALL:
        return set()
    target = _target(study, at)
    if not study.survey.flow.leaves(Root(target, Kind.ROUTINE)):
        return set()
    ones = [met.one for met in _ways(study, target, hears_calls=False)]
    exchanged = {Reg.H} if any(one.mnemonic == "XTHL" for one in ones) else set()
    return exchanged.union(*map(_pushed, ones))


def _next(study: Study, at: int, one: Instruction) -> Iterator[int]:
    move = MOVES[one.opcode]
    if move.way in (Way.JUMP, Way.CALL):
        yield _target(study, at)
    elif move.way is Way.RESTART:
        yield move.restart
    if move.goes_on:
        yield at + one.length


def _target(study: Study, at: int) -> int:
    """The address in a jump or call."""
    return int.from_bytes(study.ground.bytes[at + 1 : at + 3], "little")


def _keeps(study: Study) -> Iterator[Note]:
    for vector in _handlers(study):
        if not study.survey.flow.returns(Root(vector.address, Kind.INTERRUPT)):
            continue
        ways = list(_ways(study, vector.address))
        if any(met.one.cycles[-1].does in _LOADS_SP for met in ways):
            continue  # what changes stacks keeps the registers in a way of its own
        losing = [met for met in ways if _lost(met)]
        if losing:
            first = min(losing)
            yield Note(
                f"{vector.name} changes {_names(_lost(first))} without having saved it",
                first.at,
                False,
            )
            continue
        upset = [
            (at, regs)
            for at, state in returns(study.ground, vector.address)
            if (regs := _upset(state))
        ]
        if upset:
            at, regs = min(upset)
            yield Note(f"{vector.name} returns with {_names(regs)} not as it was", at, False)


def _names(regs: Iterable[Reg]) -> str:
    return ", ".join(reg.name for reg in sorted(regs))


def _upset(state: State) -> list[Reg]:
    """Registers that surely hold something else than when the routine was entered."""
    held = ((reg, state.registers[reg]) for reg in sorted(map(Reg, HELD)))
    return [reg for reg, byte in held if byte is not None and byte != Kept(reg)]


def _lost(met: _Met) -> set[Reg]:
    return {reg for reg in changed(met.one) if _PAIRED.get(reg, reg) not in met.saved}


def _pushed(one: Instruction) -> set[Reg]:
    """High registers of the pairs that an instruction saves."""
    if one.mnemonic == _STORES_PAIR:
        return {Reg.H}
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
        ones = [met.one for met in _ways(study, vector.address)]
        goes_by_hl = any(MOVES[one.opcode].way is Way.INDIRECT for one in ones)
        text = f"{vector.name} returns with interrupts disabled"
        if goes_by_hl:
            continue
        if all(one.mnemonic != "EI" for one in ones):
            yield Note(text, vector.address, False)
            continue
        ends = returns(study.ground, vector.address)
        disabled = [at for at, state in ends if state.ie is IE.OFF]
        if disabled:
            yield Note(f"{text}, on a way", min(disabled), False)


CHECKS = (
    Check("handler-keeps", "interrupt routines keep the registers", _keeps),
    Check("handler-enables", "interrupt routines enable interrupts again", _enables),
)
