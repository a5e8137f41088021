"""The instruction table packed into the numbers that the loop reads.

Three int64 words a machine cycle.  The row word says what is done::

    bits  0-3   address kind (isa.Addr)
    bits  4-7   T-states
    bits  8-11  register (isa.Reg)
    bits 12-18  operand; the condition, where one is tested
    bits 19-24  operation (isa.Op, TEST or HOLD)
    bits 25-26  direction (READ, WRITE or NEITHER)
    bits 27-36  row of the cycle that follows, 0 for an instruction boundary
    bit  37     bytes the PC passes over when the condition is not met

The slow word holds the map bits that send this cycle off the fast path, and the
record word what the trace record says of it whatever the address and the data:
cycle type, IO/M, S1, S0.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import BI_ACKNOWLEDGE, LEVELS, READS, WRITES, Cycle, Levels
from emu85.bus.lines import Line
from emu85.cpu.layout import (
    UNALTERED,
    UNTOUCHED_CYCLES,
    UNTOUCHED_SHIFT,
    WAIT_MASK,
    WAIT_SHIFT,
    WATCH_SHIFT,
    MapBit,
)
from emu85.isa import INSTRUCTIONS, Addr, Condition, Instruction, MachineCycle, Op
from emu85.isa.acknowledge import RESTART_INPUT, jammed

READ, WRITE, NEITHER = 0, 1, 2

T_SHIFT, REGISTER_SHIFT, OPERAND_SHIFT, OPERATION_SHIFT = 4, 8, 12, 19
DIRECTION_SHIFT, FOLLOWING_SHIFT, SKIP_SHIFT = 25, 27, 37
"""Where a row word has its fields, the address kind in bits 0-3."""
NIBBLE, OPERAND_MASK, OPERATION_MASK, DIRECTION_MASK = 15, 127, 63, 3
"""How wide they are; address kind, T-states, register and condition have a nibble."""

DATA_SHIFT, TYPE_SHIFT, LINES_SHIFT, WAITS_SHIFT, INTERRUPTS_SHIFT = 16, 24, 32, 48, 56
"""Where a trace record packed into an int64 has its fields, the address in bits 0-15."""
TEST, HOLD = 61, 62
"""Operations that are not an instruction's own: the condition is tested; HLDA goes high."""

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
RECORD_AT = SLOW_AT + ROWS_MAX
FETCH_AT = RECORD_AT + ROWS_MAX
"""Row words of the first cycles, by opcode."""
JAM_AT = FETCH_AT + 256
"""The same for opcodes that arrive by INTA."""
SZP_AT = JAM_AT + 256
CONDITION_AT = SZP_AT + 256
TABLE_CELLS = CONDITION_AT + 32


def _levels(cycle: MachineCycle) -> Levels:
    return BI_ACKNOWLEDGE if cycle.acknowledges else LEVELS[cycle.kind]


def _direction(kind: Cycle) -> int:
    if kind in READS:
        return READ
    return WRITE if kind in WRITES else NEITHER


def _word(cycle: MachineCycle, condition: Condition | None, following: int, op: int) -> int:
    operand = cycle.operand
    if cycle.tests and condition is not None:
        op, operand = TEST, condition
    return (
        cycle.address
        | cycle.t_states << T_SHIFT
        | cycle.register << REGISTER_SHIFT
        | operand << OPERAND_SHIFT
        | op << OPERATION_SHIFT
        | _direction(cycle.kind) << DIRECTION_SHIFT
        | following << FOLLOWING_SHIFT
        | cycle.skips << SKIP_SHIFT
    )


def status_lines(levels: Levels) -> int:
    """``Line`` bits of IO/M, S1 and S0; one that floats counts as low."""
    pairs = ((Line.IO_M, levels.io_m), (Line.S1, levels.s1), (Line.S0, levels.s0))
    return sum(int(line) for line, level in pairs if level)


def _record(cycle: MachineCycle) -> int:
    return cycle.kind << TYPE_SHIFT | status_lines(_levels(cycle)) << LINES_SHIFT


def _slow(cycle: MachineCycle) -> int:
    bits = 1 << (WATCH_SHIFT + cycle.kind) | WAIT_MASK << WAIT_SHIFT
    bits |= 1 << (UNTOUCHED_SHIFT + cycle.kind) & UNTOUCHED_CYCLES
    if cycle.kind is Cycle.MW:
        bits |= UNALTERED
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
        self.table: NDArray[np.int64] = np.zeros(TABLE_CELLS, np.int64)
        self.free = 0

    def put(
        self,
        cycles: Sequence[MachineCycle],
        condition: Condition | None,
        op: int | None = None,
    ) -> int:
        first = self.free
        for i, cycle in enumerate(cycles):
            following = 0 if i == len(cycles) - 1 else self.free + 1
            word = _word(cycle, condition, following, cycle.does if op is None else op)
            self.table[ROWS_AT + self.free] = word
            self.table[SLOW_AT + self.free] = _slow(cycle)
            self.table[RECORD_AT + self.free] = _record(cycle)
            self.free += 1
        if self.free > ROWS_MAX:
            raise AssertionError("ROWS_MAX is too small for the instruction table")
        return first

    def put_instruction(self, instruction: Instruction) -> None:
        cycles = instruction.cycles
        condition = instruction.condition
        first = self.put(cycles, condition)
        self.table[FETCH_AT + instruction.opcode] = self.table[ROWS_AT + first]
        first = self.put(jammed(instruction), condition)
        self.table[JAM_AT + instruction.opcode] = self.table[ROWS_AT + first]


def _parity_even(byte: int) -> bool:
    return byte.bit_count() % 2 == 0


@cache
def pack() -> NDArray[np.int64]:
    """The packed table: rows, slow masks, first rows by opcode, flags by result.

    Returns:
        int64 vector of :data:`TABLE_CELLS` cells; the same one each time.
    """
    packer = _Packer()
    halt = MachineCycle(Cycle.HALT, 1, Addr.PC_HELD, does=Op.HALT)
    held = MachineCycle(Cycle.HOLD, 1, Addr.PC_HELD)
    packer.put([MachineCycle(Cycle.OF, 4, Addr.PC)], None)
    packer.put([MachineCycle(Cycle.INA, 6, Addr.PC_HELD)], None)
    packer.put(RESTART_INPUT, None)
    packer.put([halt], None)
    packer.put([held], None, HOLD)
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
