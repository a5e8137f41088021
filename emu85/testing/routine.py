"""Where a routine ends, and what of it is code, told from its code and the labels in it."""

from __future__ import annotations

import numpy as np

from emu85.burn.moves import MOVES, Way
from emu85.isa import INSTRUCTIONS
from emu85.machine import Machine
from emu85.profile import Execution

_SPACE = 0x10000


def end_of(machine: Machine, start: int) -> int:
    """The address after a routine's last byte.

    A routine goes from its label to the next label that cannot be reached from it by
    jumps and by going on alone, or to the end of the code that was assembled in one
    piece with it.  So labels inside it do not end it, what nothing leads to belongs to
    what stands before it, and a routine that goes on in the next one has it as its end.
    """
    inside = _reached(machine, start)
    ends = [end for low, end in machine.runs if low <= start < end] or [_SPACE]
    labels = (at for name, at in machine.symbols.items() if name not in machine.equated)
    return min([*ends, *(at for at in labels if at > start and at not in inside)])


def instructions_in(machine: Machine, start: int, execution: Execution) -> dict[int, int]:
    """Bytes of each instruction of a routine without a source, by address.

    They are those that control comes to.  Behind a call that was executed there are none
    if it never came back there: a parameter or a text may stand in their place.
    """
    return {
        address: INSTRUCTIONS[machine.memory[address]].length
        for address in _reached(machine, start, execution)
    }


def _reached(machine: Machine, start: int, execution: Execution | None = None) -> set[int]:
    """Addresses of the instructions that control comes to, calls stepped over.

    Those that were executed are among them.
    """
    found: set[int] = set()
    waiting = [start]
    if execution is not None:
        waiting += np.flatnonzero(execution.fetches).tolist()
    while waiting:
        address = waiting.pop()
        if address in found or not _is_code(machine, address):
            continue
        found.add(address)
        opcode = machine.memory[address]
        move, length = MOVES[opcode], INSTRUCTIONS[opcode].length
        if move.conditional or move.way in (Way.ON, Way.CALL, Way.RESTART, Way.HALT):
            following = (address + length) % _SPACE
            if not _is_passed_over(following, address, move.way, execution):
                waiting.append(following)
        if move.way is Way.JUMP:
            low, high = (machine.memory[(address + n) % _SPACE] for n in (1, 2))
            waiting.append(high << 8 | low)
    return found


def _is_passed_over(following: int, call: int, way: Way, execution: Execution | None) -> bool:
    """Whether a call has been executed, and what stands behind it has not."""
    if execution is None or way not in (Way.CALL, Way.RESTART):
        return False
    return bool(execution.fetches[call]) and not execution.fetches[following]


def _is_code(machine: Machine, address: int) -> bool:
    return any(low <= address < end for low, end in machine.runs)
