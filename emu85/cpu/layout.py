"""Where things stand in the arrays that the compiled loop works on.

Everything the loop reads or writes is an int64 (the store of bytes is uint16),
so that no mixed-width arithmetic turns into floats.

``map`` (int64, 65 792 entries) has one word for each memory address 0000-FFFF
and, from :data:`IO_BASE` on, for each port 00-FF.  A word holds the index of
the byte in ``store`` that answers there, the wait states of the region, and
bits that send the cycle off the fast path.  Mirrors are several words with one
index.

``store`` (uint16) holds the bytes of all chips one after another.  The high
byte of an entry is :data:`UNWRITTEN` for RAM that was never written, so a plain
store of a byte clears it at no cost.
"""

from __future__ import annotations

import enum

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
    """Asked for by the caller: the next machine cycle begins an instruction."""
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


STOP_FIELDS = len(StopField)
