"""The machine cycles of the 8085 and what the control lines show in each.

Source: Intel MCS-80/85 Family User's Manual (October 1979), chapter 2, the
"8085A machine cycle chart" (value from memory).  ``None`` stands for a line in
its high-impedance state.

``HALT``, ``HOLD`` and ``RESET`` are states rather than machine cycles; the trace
keeps one record for each stretch of them so that time has no gaps.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Cycle(enum.IntEnum):
    """Cycle type as stored in a trace record (uint8)."""

    OF = 0
    MR = 1
    MW = 2
    IOR = 3
    IOW = 4
    INA = 5
    BI = 6
    HALT = 7
    HOLD = 8
    RESET = 9


@dataclass(frozen=True, slots=True)
class Levels:
    """Status and strobe levels through a machine cycle; 1 high, 0 low, None floating.

    The strobes are named as the pins are: ``rd == 0`` means the read strobe is
    active during T2 and T3 of the cycle.  ``ale`` is 1 if the cycle begins with an
    ALE pulse in T1, and 0 if ALE stays low through it; the pin never floats.
    """

    io_m: int | None
    s1: int | None
    s0: int | None
    rd: int | None
    wr: int | None
    inta: int | None
    ale: int


LEVELS: dict[Cycle, Levels] = {
    Cycle.OF: Levels(0, 1, 1, 0, 1, 1, ale=1),
    Cycle.MR: Levels(0, 1, 0, 0, 1, 1, ale=1),
    Cycle.MW: Levels(0, 0, 1, 1, 0, 1, ale=1),
    Cycle.IOR: Levels(1, 1, 0, 0, 1, 1, ale=1),
    Cycle.IOW: Levels(1, 0, 1, 1, 0, 1, ale=1),
    Cycle.INA: Levels(1, 1, 1, 1, 1, 0, ale=1),
    # A bus idle cycle of DAD looks like a memory read without its strobe and its
    # ALE; the one that acknowledges TRAP or RST x.5 has all three status lines
    # high.  Those of the unspecified opcodes are taken to be as DAD's (choice).
    Cycle.BI: Levels(0, 1, 0, 1, 1, 1, ale=0),
    Cycle.HALT: Levels(None, 0, 0, None, None, 1, ale=0),
    Cycle.HOLD: Levels(None, None, None, None, None, 1, ale=0),
    Cycle.RESET: Levels(None, None, None, None, None, 1, ale=0),
}

SHORTEST = 3
"""T-states of the shortest machine cycle; only the first of a halt or hold is shorter,
and it is followed by longer ones (User's Manual, October 1979; value from memory)."""

BI_ACKNOWLEDGE = Levels(1, 1, 1, 1, 1, 1, ale=1)
"""Levels of the bus idle cycle that acknowledges TRAP or an RST x.5 input."""

DESCRIPTIONS: dict[Cycle, str] = {
    Cycle.OF: "opcode fetch",
    Cycle.MR: "memory read",
    Cycle.MW: "memory write",
    Cycle.IOR: "I/O read",
    Cycle.IOW: "I/O write",
    Cycle.INA: "interrupt acknowledge",
    Cycle.BI: "bus idle",
    Cycle.HALT: "halt",
    Cycle.HOLD: "hold",
    Cycle.RESET: "reset",
}

READS = frozenset({Cycle.OF, Cycle.MR, Cycle.IOR, Cycle.INA})
WRITES = frozenset({Cycle.MW, Cycle.IOW})
IO_CYCLES = frozenset({Cycle.IOR, Cycle.IOW})
STATES = frozenset({Cycle.HALT, Cycle.HOLD, Cycle.RESET})
