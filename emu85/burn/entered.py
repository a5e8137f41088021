"""What an interrupt routine comes back with, on each of its ways."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from emu85.burn.execute import Done, execute_at, is_met, told_by
from emu85.burn.ground import Ground
from emu85.burn.moves import MOVES, Way
from emu85.burn.state import IE, State, after_call, called, known_address, return_offset
from emu85.isa import INSTRUCTIONS, Instruction

_MOST = 5000
"""Instructions that are followed, each again where something else is known."""


def returns(ground: Ground, address: int) -> Iterator[tuple[int, State]]:
    """The returns of a routine to the program that was interrupted, and what is known there.

    Nothing is known of the registers after a routine that it calls.
    """
    waiting = [(address, called(IE.OFF))]
    seen = set(waiting)
    while waiting and len(seen) < _MOST:
        at, state = waiting.pop()
        if not ground.is_held(at):
            continue
        one = INSTRUCTIONS[ground.bytes[at]]
        done = execute_at(ground, at, state)
        if _goes_back(one, done):
            yield at, done.state
        following = [each for each in _following(at, one, state, done) if each not in seen]
        seen.update(following)
        waiting += following


def _goes_back(one: Instruction, done: Done) -> bool:
    is_return = MOVES[one.opcode].way is Way.RETURN
    is_own = return_offset(done.target) == 0 and not done.state.stack and not done.state.taken
    return is_return and is_own


def _following(at: int, one: Instruction, state: State, done: Done) -> Iterator[tuple[int, State]]:
    move, met = MOVES[one.opcode], is_met(one, state.flags)
    after = (at + one.length) & 0xFFFF
    if met is not True:
        yield after, replace(state, flags=told_by(one, state.flags, False))
    if met is False:
        return
    if move.way in (Way.CALL, Way.RESTART):
        yield after, after_call(state)
    elif move.way in (Way.ON, Way.HALT):
        yield after, done.state
    elif move.way is Way.JUMP:
        target = known_address(done.target)
        if target is not None:
            yield target, replace(done.state, flags=told_by(one, state.flags, True))
