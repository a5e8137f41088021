"""The instruction table packed into the numbers that the loop reads.

One int64 word a machine cycle::

    bits  0-3   address kind (isa.Addr)
    bits  4-7   T-states
    bits  8-11  register (isa.Reg)
    bits 12-18  operand
    bits 19-24  operation (isa.Op)
    bits 25-28  condition + 1 tested at the end of the cycle, 0 for none
    bit  29     bytes the PC passes over when the condition is not met
    bit  30     last cycle of the instruction
    bits 31-32  direction (READ, WRITE or NEITHER)
    bits 33-36  cycle type
    bits 37-39  IO/M, S1, S0

and beside it one word of map bits that send that cycle off the fast path.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import BI_ACKNOWLEDGE, LEVELS, READS, WRITES, Cycle, Levels
from emu85.cpu.layout import WATCH_SHIFT, MapBit
from emu85.isa import INSTRUCTIONS, Addr, Condition, Instruction, MachineCycle, Op
from emu85.isa.acknowledge import RESTART_INPUT, jammed

READ, WRITE, NEITHER = 0, 1, 2
OP_HOLD = 62
"""Operation of the hold state, which no instruction has."""

FETCH, TAKE_INTR, TAKE_RESTART = 0, 1, 2
"""Rows with fixed numbers: opcode fetch, INTA fetch, and the acknowledge of a
restart input, whose three rows follow one another."""
HALTED = TAKE_RESTART + len(RESTART_INPUT)
HELD = HALTED + 1
_FIRST_FREE = HELD + 1

_READ_BITS = MapBit.READ_EXIT | MapBit.NO_READER | MapBit.CONTENTION
WRITE_BITS = MapBit.WRITE_EXIT | MapBit.NO_WRITER | MapBit.ROM

FLAG_MASKS: dict[Condition, tuple[int, int]] = {
    Condition.NZ: (0x40, 0),
    Condition.Z: (0x40, 1),
    Condition.NC: (0x01, 0),
    Condition.C: (0x01, 1),
    Condition.PO: (0x04, 0),
    Condition.PE: (0x04, 1),
    Condition.P: (0x80, 0),
    Condition.M: (0x80, 1),
    Condition.NK: (0x20, 0),
    Condition.K: (0x20, 1),
    Condition.V: (0x02, 1),
}
"""Flag bit that each condition looks at, and whether it must be set."""

ROWS_AT = 0
"""Where the parts of the packed table stand."""
ROWS_MAX = 1024
SLOW_AT = ROWS_AT + ROWS_MAX
FIRST_AT = SLOW_AT + ROWS_MAX
JAM_AT = FIRST_AT + 256
SZP_AT = JAM_AT + 256
CONDITION_AT = SZP_AT + 256
TABLE_CELLS = CONDITION_AT + 32


def _levels(cycle: MachineCycle) -> Levels:
    return BI_ACKNOWLEDGE if cycle.acknowledges else LEVELS[cycle.kind]


def _direction(kind: Cycle) -> int:
    if kind in READS:
        return READ
    return WRITE if kind in WRITES else NEITHER


def _word(cycle: MachineCycle, condition: Condition | None, last: bool, op: int) -> int:
    levels = _levels(cycle)
    status = (levels.io_m or 0) | (levels.s1 or 0) << 1 | (levels.s0 or 0) << 2
    tested = condition + 1 if cycle.tests and condition is not None else 0
    return (
        cycle.address
        | cycle.t_states << 4
        | cycle.register << 8
        | cycle.operand << 12
        | op << 19
        | tested << 25
        | cycle.skips << 29
        | int(last) << 30
        | _direction(cycle.kind) << 31
        | cycle.kind << 33
        | status << 37
    )


def _slow(cycle: MachineCycle) -> int:
    bits = 1 << (WATCH_SHIFT + cycle.kind)
    direction = _direction(cycle.kind)
    if direction == READ:
        bits |= _READ_BITS
    if direction == WRITE:
        bits |= WRITE_BITS
    if direction == WRITE and cycle.address is Addr.SP_DOWN:
        bits |= MapBit.NOT_STACK
    if cycle.kind is Cycle.OF:
        bits |= MapBit.NOT_CODE | MapBit.HOLD_BEFORE
    return bits


class _Packer:
    """Lays rows one after another into the table."""

    def __init__(self) -> None:
        self.table = np.zeros(TABLE_CELLS, np.int64)
        self.free = 0

    def put(
        self, cycles: Sequence[MachineCycle], condition: Condition | None, op: int | None = None
    ) -> int:
        first = self.free
        for i, cycle in enumerate(cycles):
            last = i == len(cycles) - 1
            word = _word(cycle, condition, last, cycle.does if op is None else op)
            self.table[ROWS_AT + self.free] = word
            self.table[SLOW_AT + self.free] = _slow(cycle)
            self.free += 1
        if self.free > ROWS_MAX:
            raise AssertionError("ROWS_MAX is too small for the instruction table")
        return first

    def put_instruction(self, instruction: Instruction) -> None:
        cycles = instruction.cycles
        condition = instruction.condition
        self.table[FIRST_AT + instruction.opcode] = self.put(cycles, condition)
        self.table[JAM_AT + instruction.opcode] = self.put(jammed(instruction), condition)


def _parity_even(byte: int) -> bool:
    return byte.bit_count() % 2 == 0


def pack() -> NDArray[np.int64]:
    """The packed table: rows, slow masks, first rows by opcode, flags by result.

    Returns:
        int64 vector of :data:`TABLE_CELLS` cells.
    """
    packer = _Packer()
    halt = MachineCycle(Cycle.HALT, 1, Addr.PC_HELD, does=Op.HALT)
    held = MachineCycle(Cycle.HOLD, 1, Addr.PC_HELD)
    packer.put([MachineCycle(Cycle.OF, 4, Addr.PC)], None)
    packer.put([MachineCycle(Cycle.INA, 6, Addr.PC_HELD)], None)
    packer.put(RESTART_INPUT, None)
    packer.put([halt], None)
    packer.put([held], None, OP_HOLD)
    if packer.free != _FIRST_FREE:
        raise AssertionError("the rows with fixed numbers have moved")
    for instruction in INSTRUCTIONS:
        packer.put_instruction(instruction)
    for byte in range(256):
        packer.table[SZP_AT + byte] = (
            (byte & 0x80) | (0x40 if byte == 0 else 0) | (0x04 if _parity_even(byte) else 0)
        )
    for condition, (mask, wanted) in FLAG_MASKS.items():
        packer.table[CONDITION_AT + 2 * condition] = mask
        packer.table[CONDITION_AT + 2 * condition + 1] = wanted
    return packer.table
