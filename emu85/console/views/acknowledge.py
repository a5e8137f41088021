"""What an INTA cycle brought: only the first of an acknowledge carries an opcode."""

from __future__ import annotations

from typing import Any

from emu85.bus.cycles import Cycle
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
    """Which machine cycle of its acknowledge an INTA record is, from 1."""
    return _acknowledge(trace, record)[0] + 1


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
    first = at
    while first > max(0, at - _MOST + 1) and _is_inta(trace, first - 1):
        first -= 1
    if first == 0 and trace.forgotten:
        return at, []
    if at - first >= INSTRUCTIONS[int(trace[first]["data"])].length:
        first = at
    last = first
    while last - first < _MOST - 1 and last + 1 < len(trace) and _is_inta(trace, last + 1):
        last += 1
    return at - first, [int(trace[i]["data"]) for i in range(first, last + 1)]


def _is_inta(trace: Trace, i: int) -> bool:
    return int(trace[i]["type"]) == Cycle.INA


def _index(trace: Trace, t: int) -> int:
    """Index of the record that starts at T-state ``t``."""
    low, high = 0, len(trace) - 1
    while low < high:
        middle = (low + high) // 2
        if int(trace[middle]["t"]) < t:
            low = middle + 1
        else:
            high = middle
    return low
