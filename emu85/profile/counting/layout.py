"""Where things stand in the arrays that routines are followed with.

Plain integers, which the compiler takes as constants.
"""

from __future__ import annotations

from emu85.bus import expand
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.rows import (
    DATA_SHIFT,
    LINES_SHIFT,
    NIBBLE,
    TYPE_SHIFT,
    WAITS_SHIFT,
)
from emu85.isa.acknowledge import VECTORS

# Fields of a record's second cell, and what is looked for in them.
DATA_AT, TYPE_AT, LINES_AT, WAITS_AT, TYPE_MASK = (
    DATA_SHIFT,
    TYPE_SHIFT,
    LINES_SHIFT,
    WAITS_SHIFT,
    NIBBLE,
)
OF, MR, MW, IOR, IOW = (int(Cycle[name]) for name in ("OF", "MR", "MW", "IOR", "IOW"))
INA, BI, HALT = (int(Cycle[name]) for name in ("INA", "BI", "HALT"))
HOLD, RESET = int(Cycle.HOLD), int(Cycle.RESET)
GIVEN_AWAY = int(Line.HLDA)
ACKNOWLEDGES = expand.ACKNOWLEDGES
TRAP_AT, RST75_AT, RST65_AT, RST55_AT = VECTORS.values()

SPACE = 0x10000
PORTS = 0x100

# How an activation came about, the upper part of a row's number; the lower is the address
# of the first instruction.
CALLED, TRAP, RST75, RST65, RST55, INTR, STARTED, UNKNOWN = range(8)
ROWS = 8 * SPACE

# Columns of a row.
CALLS, OWN, WHOLE, SUM, DONE, LEAST, MOST, LATEST, LEFT, IDLE = range(10)
COLUMNS = 10
"""``LATEST`` is the newest activation of the row that is under way, 0 for none."""

# An activation.
KEY, LEVEL, BACK, START, BEFORE, LOOSE, SAME, SERVICE = range(8)
FRAME_FIELDS = 8
"""``SAME`` is the newest older activation of the same row, 0 for none; ``SERVICE`` that of
the interrupt in which it runs, 0 for none."""
DEEPEST = 16_384
"""Activations followed at a time; twice as many return addresses fill the memory."""
FARTHEST = 64
"""Activations looked through for the one that a return or a jump leads back to."""

# Kinds of what has begun.
NOTHING, INSTRUCTION, RESTART_INPUT, JAMMED, RESETTING = range(5)

# The state between records.
TOP = 0
"""The activation under way; 0 is where power, RESET or the watch began."""
MARK = 1
"""Until when own time has been given."""
LAST_T, LAST_TYPE, LAST_PORT = 2, 3, 4
"""The machine cycle that has not ended."""
BEGUN, BEGUN_T, PLACE, OPCODE = 5, 6, 7, 8
"""The instruction, acknowledge or reset that has not ended."""
READS, FIRST_READ_AT, LAST_READ_AT, LOW, HIGH = 9, 10, 11, 12, 13
"""Its reads after the opcode: how many, their addresses, the last two bytes."""
WRITES, LAST_WRITE_AT, WRITTEN_HIGH, WRITTEN_LOW = 14, 15, 16, 17
ACKNOWLEDGED = 18
"""INTA cycles of it."""
SP = 19
"""The stack pointer, -1 if not known."""
SERVICE_T = 20
"""T-states spent in the service of interrupts, whole services only."""
IS_CUT = 21
"""1 if records are missing before the next one."""
HALT_T, HOLD_T, RESET_T, WAIT_T, MASTER_CYCLES = 22, 23, 24, 25, 26
RECORDS = 27
CELLS = 28

# What is counted by address: start and address of what had not ended, and T-states of
# acknowledges; and what stands in place of that address.
OPEN_T, OPEN_AT, ACKNOWLEDGE_T = range(3)
NOT_OPEN, AN_ACKNOWLEDGE = -2, -1
