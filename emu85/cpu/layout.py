"""Where things stand in the arrays that the compiled loop works on.

Everything the loop reads or writes is an int64 (the store of bytes is uint16),
so that no mixed-width arithmetic turns into floats.

``map`` (int64, 65 792 entries) has one word for each memory address 0000-FFFF
and, from :data:`IO_BASE` on, for each port 00-FF.  A word holds the index of
the byte in ``store`` that answers there, the wait states of the region, and
bits that send the cycle off the fast path.  Mirrors are several words with one
index.

``noted`` (int64) tells which data bytes there were since it was cleared.

``store`` (uint16) holds the bytes of all chips one after another.  The high
byte of an entry is :data:`UNWRITTEN` for RAM that was never written, so a plain
store of a byte clears it at no cost.
"""

from __future__ import annotations

import enum

from emu85.bus.cycles import Cycle
from emu85.bus.lines import INPUTS, Line

SPACE = 0x10000 + 0x100
"""Entries in ``map``: all memory addresses, then all ports."""
IO_BASE = 0x10000
"""Index in ``map`` of port 00."""

INDEX_MASK = (1 << 20) - 1
"""Bits of a map word that hold the index into ``store``."""
WAIT_SHIFT = 20
"""Wait states, 0 to 255, in bits 20-27 of a map word."""
WAIT_MASK = 0xFF
WATCH_SHIFT = 28
"""Bit ``WATCH_SHIFT + cycle type`` is set where some stop looks at that type."""


class MapBit(enum.IntFlag):
    """Bits of a map word, from bit 40 on."""

    READ_EXIT = 1 << 40
    """A device in Python answers reads here."""
    WRITE_EXIT = 1 << 41
    """A device in Python is told of writes here."""
    NO_READER = 1 << 42
    """No chip answers reads: the store entry holds the pull-up value."""
    NO_WRITER = 1 << 43
    """No chip takes writes; the byte is lost."""
    ROM = 1 << 44
    """A ROM answers: writes are lost and are a finding."""
    NOT_CODE = 1 << 45
    """An opcode fetch here is execution outside code."""
    NOT_STACK = 1 << 46
    """A push here is a stack that left its region."""
    CONTENTION = 1 << 47
    """Two chips answer: reads are a finding (READ_EXIT is set as well)."""
    HOLD_BEFORE = 1 << 48
    """The machine holds before an opcode fetch here (``run until``)."""


UNTOUCHED_SHIFT = 49
"""Bit ``UNTOUCHED_SHIFT + cycle type`` is cleared by the first cycle of that type here, if
it was set; OF, MR, MW, IOR and IOW have one."""
UNTOUCHED_TYPES = 5
UNTOUCHED_CYCLES = ((1 << UNTOUCHED_TYPES) - 1) << UNTOUCHED_SHIFT
UNALTERED = 1 << (UNTOUCHED_SHIFT + UNTOUCHED_TYPES)
"""Cleared, if it was set, by the first memory write here that leaves another byte."""
UNTOUCHED_BITS = UNTOUCHED_CYCLES | UNALTERED

DATA_NOTED = 0x200
"""Cells of ``noted``: cell ``d`` is set to 1 by a memory write of the byte ``d``, and cell
``MOVED_DATA + d`` by one that went to or from a port or came from a device."""
MOVED_DATA = 0x100

UNWRITTEN = 0x100
"""In a ``store`` entry: RAM never written since power-on."""


class Exit(enum.IntFlag):
    """Why the loop returned to Python; several may be set at once."""

    LIMIT = 1
    """The T-state limit was passed."""
    BUDGET = 2
    """The number of machine cycles asked for was done."""
    READ = 4
    """A device must answer the read that is about to begin."""
    WRITE = 8
    """A device must be told of the write that has just ended."""
    STOP = 16
    """A stop hit in the machine cycle that has just ended."""
    IDLE = 32
    """Halted or held: nothing happens until a line changes."""
    SOD = 64
    """SOD changed at the end of the machine cycle that has just ended."""
    BOUNDARY = 128
    """The next machine cycle begins an instruction and the caller wanted to know,
    or it is the fetch at an address marked ``HOLD_BEFORE``."""
    HLDA = 256
    """HLDA changed."""


class StopField(enum.IntEnum):
    """Columns of the table of stop steps (int64, one row a step)."""

    ACTIVE = 0
    """1 while this step is being looked for."""
    TYPES = 1
    """Bit n set: cycle type n matches."""
    LOW = 2
    HIGH = 3
    """Address range, both ends included."""
    OUTSIDE = 4
    """1: the address must lie outside LOW-HIGH."""
    ADDRESS_MASK = 5
    ADDRESS_VALUE = 6
    """``address & mask == value``; on I/O cycles the address is the port number twice."""
    DATA_MASK = 7
    DATA_VALUE = 8
    DATA_LOW = 9
    DATA_HIGH = 10
    LINE_MASK = 11
    LINE_VALUE = 12
    """Levels: ``lines & mask == value``."""
    EDGE_MASK = 13
    """Line bits that must differ from the cycle before."""
    PASSES = 14
    """Matches to let go by before the step is done."""
    SEEN = 15
    """Matches let go by so far."""
    NEXT = 16
    """Row of the step that is looked for after this one; -1 for the last."""
    FIRST = 17
    """Row of the first step of this stop."""
    LINES_ONLY = 18
    """1: no bus part; looked at only when a line changes, met when it comes true."""
    HITS = 19
    """In the last step's row: how often the stop has hit."""
    LAST_T = 20
    """In the last step's row: start of the machine cycle that hit last; -1 if none."""
    FINDING = 21
    """1: matches only a cycle that gave rise to a finding."""
    QUIET = 22
    """1: a hit is counted, and the loop goes on."""


STOP_FIELDS = len(StopField)


class State(enum.IntEnum):
    """Cells of the state vector (int64) that the loop and Python share."""

    T = 0
    """T-states since power-on; start of the next machine cycle."""
    LIMIT = 1
    """The loop goes on while ``T <= LIMIT``."""
    BUDGET = 2
    """Machine cycles still to do."""
    ROW = 3
    """Next row of the machine-cycle tables; 0 at an instruction boundary."""
    PC = 4
    SP = 5
    HALTED = 6
    LINES = 7
    """Levels of the lines, ``bus.lines.Line`` bits TRAP to HLDA."""
    PREVIOUS = 8
    """The whole lines word of the last machine cycle."""
    IE = 9
    SHADOW = 10
    """1 from EI until the next instruction has been fetched."""
    MASKS = 11
    """M7.5 M6.5 M5.5 in bits 2-0."""
    LATCH75 = 12
    TRAP_LATCH = 13
    IE_BEFORE_TRAP = 14
    TRAP_TAKEN = 15
    """1 from a TRAP until the first RIM after it."""
    VECTOR = 16
    ANSWER = 17
    """The byte a device gave to an :attr:`Exit.READ`; -1 if there is none."""
    POSITION = 18
    """Next place in the trace ring."""
    TOTAL = 19
    """Machine cycles recorded since power-on."""
    INSTRUCTION = 20
    """Address of the instruction being executed."""
    PULL_UP = 22
    """What the floating data bus reads as."""
    WANT_BOUNDARY = 23
    STOPS = 24
    """Rows in use in the table of stop steps."""
    LINE_STOPS = 25
    """Bit 0: some of them look at lines only; bit 1: at lines that the CPU may change
    in every cycle (status lines, READY)."""
    EXIT_INDEX = 26
    """Map index of the cycle that caused READ or WRITE."""
    EXIT_DATA = 27
    EXIT_TYPE = 28
    EXIT_T = 29
    """Start of that machine cycle."""
    HOLD_SINCE = 30
    """When HOLD last rose."""
    LAST_START = 31
    """Start of the last machine cycle."""
    SKIP_HOLD_BEFORE = 32
    """1: pass over a ``HOLD_BEFORE`` mark in the very next fetch."""
    ASKED_LINES = 33
    """The record's lines word as it stood when a device was asked."""
    MASTER = 34
    """Packed record of a cycle by another bus master, to be put on the trace; 0 for none."""
    MASTER_T = 35
    """Start of that cycle."""
    MOVED = 36
    """Those of :data:`MOVED_TOLD` that have changed, or a cycle has noted, since this was
    cleared; and from bit :data:`MOVED_TYPES` on which of :data:`TYPES_TOLD` there were."""
    REGISTERS = 40
    """First of 16 cells indexed by ``isa.Reg``."""


STATE_CELLS = 64

MOVED_TOLD = int(INPUTS | Line.SOD | Line.HLDA | Line.FINDING)
"""The bits of a lines word of which ``State.MOVED`` tells."""

MOVED_TYPES = 16
TYPES_TOLD = frozenset({Cycle.INA, Cycle.BI, Cycle.HALT, Cycle.HOLD, Cycle.RESET})
"""Cycle types of which ``State.MOVED`` tells: the map tells of the others."""

EVERY_CYCLE = 2
"""Bit 1 of ``State.LINE_STOPS``."""


class FindingKind(enum.IntEnum):
    """What the board noticed; rows of the findings table."""

    FLOATING_READ = 0
    CONTENTION = 1
    ROM_WRITE = 2
    LOST_WRITE = 3
    UNWRITTEN_READ = 4
    NOT_CODE = 5
    STACK = 6


class FindingField(enum.IntEnum):
    """Columns of the findings table (int64, one row for each kind and map index)."""

    COUNT = 0
    FIRST_T = 1
    LAST_T = 2
    FIRST_PC = 3
