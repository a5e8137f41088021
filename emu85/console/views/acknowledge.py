"""What an INTA cycle brought: only the first of an acknowledge carries an opcode."""

from __future__ import annotations

from typing import Any

from emu85.bus.cycles import Cycle
from emu85.bus.expand import is_given
from emu85.bus.trace import Trace
from emu85.isa import INSTRUCTIONS, Instruction

_FORGOTTEN = "interrupt acknowledge"
"""What is told where the trace may have forgotten the opcode."""
_MOST = 3
"""Bytes of an instruction at most."""


def jammed_text(trace: Trace, record: Any) -> str:
    """The jammed instruction at its first INTA cycle, which byte of it at the others."""
    position, brought = _acknowledge(trace, record)
    if not brought:
        return _FORGOTTEN
    instruction = INSTRUCTIONS[brought[0]]
    if position:
        return f"{instruction.mnemonic} jammed, byte {position + 1} of {instruction.length}"
    return _whole(instruction, brought)


def jammed_instruction(trace: Trace, record: Any) -> str:
    """The jammed instruction that an INTA cycle is part of, as far as it has come."""
    _, brought = _acknowledge(trace, record)
    return _whole(INSTRUCTIONS[brought[0]], brought) if brought else _FORGOTTEN


def jammed_cycle(trace: Trace, record: Any) -> int:
    """Which machine cycle of its acknowledge an INTA record is, from 1; 0 if not known."""
    position, brought = _acknowledge(trace, record)
    return position + 1 if brought else 0


def _whole(instruction: Instruction, brought: list[int]) -> str:
    return f"{instruction.text(_operand(instruction, brought))} jammed"


def _operand(instruction: Instruction, brought: list[int]) -> str:
    """The operand as far as it has gone over the bus; the kind of it before that."""
    if len(brought) < instruction.length or instruction.length == 1:
        return ""
    low, *high = brought[1 : instruction.length]
    value = low | high[0] << 8 if high else low
    text = f"{value:0{2 * (instruction.length - 1)}X}H"
    return text if text[0].isdigit() else f"0{text}"


def _acknowledge(trace: Trace, record: Any) -> tuple[int, list[int]]:
    """Place of a record in its acknowledge, and the bytes that acknowledge has brought.

    No bytes if the acknowledge may have begun before the oldest record held.
    """
    at = _index(trace, int(record["t"]))
    before, is_whole = _neighbours(trace, at, -1)
    if not is_whole and trace.forgotten:
        return 0, []
    earlier = before[::-1]
    if earlier and len(earlier) >= INSTRUCTIONS[earlier[0]].length:
        earlier = []  # that one was whole
    later, _ = _neighbours(trace, at, 1)
    brought = [*earlier, int(record["data"]), *later]
    return len(earlier), brought[: INSTRUCTIONS[brought[0]].length]


def _neighbours(trace: Trace, at: int, step: int) -> tuple[list[int], bool]:
    """Bytes of the INTA cycles next to one, and whether the trace holds all of them.

    Hold and a bus master's cycles may come between.
    """
    found: list[int] = []
    i = at + step
    while 0 <= i < len(trace) and len(found) < _MOST - 1:
        record = trace[i]
        if int(record["type"]) == Cycle.INA:
            found.append(int(record["data"]))
        elif not is_given(record):
            return found, True
        i += step
    return found, len(found) == _MOST - 1


def _index(trace: Trace, t: int) -> int:
    """Index of the INTA record that starts at T-state ``t``."""
    low, high = 0, len(trace) - 1
    while low < high:
        middle = (low + high) // 2
        if int(trace[middle]["t"]) < t:
            low = middle + 1
        else:
            high = middle
    while int(trace[low]["type"]) != Cycle.INA:
        low += 1  # a hold or a bus master's cycle may end where it starts
    return low
