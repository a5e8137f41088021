"""The line bits of a trace record, and the names the trade gives the lines.

A record carries the level of every line as the CPU sampled it for that cycle,
in one 16-bit word.  Inputs are sampled one T-state before the cycle begins,
which is also when the 8085 samples its interrupt inputs (User's Manual,
October 1979, section 2.3; value from memory).
"""

from __future__ import annotations

import enum


class Line(enum.IntFlag):
    """Bits of the ``lines`` word of a trace record (uint16)."""

    TRAP = 1 << 0
    RST75 = 1 << 1
    RST65 = 1 << 2
    RST55 = 1 << 3
    INTR = 1 << 4
    SID = 1 << 5
    HOLD = 1 << 6
    SOD = 1 << 7
    HLDA = 1 << 8
    READY = 1 << 9
    """Low in a cycle that had wait states inserted."""
    RESET_OUT = 1 << 10
    IO_M = 1 << 11
    S1 = 1 << 12
    S0 = 1 << 13
    FLOATING = 1 << 14
    """No chip answered this cycle: the data byte is what the pull-ups gave."""
    FINDING = 1 << 15
    """This cycle gave rise to a finding."""


INPUTS = Line.TRAP | Line.RST75 | Line.RST65 | Line.RST55 | Line.INTR | Line.SID | Line.HOLD
"""Lines a board drives; the others are driven by the CPU or are notes of the trace."""

NAMES: dict[Line, str] = {
    Line.TRAP: "TRAP",
    Line.RST75: "RST 7.5",
    Line.RST65: "RST 6.5",
    Line.RST55: "RST 5.5",
    Line.INTR: "INTR",
    Line.SID: "SID",
    Line.HOLD: "HOLD",
    Line.SOD: "SOD",
    Line.HLDA: "HLDA",
    Line.READY: "READY",
    Line.RESET_OUT: "RESET OUT",
    Line.IO_M: "IO/M",
    Line.S1: "S1",
    Line.S0: "S0",
}

BY_NAME: dict[str, Line] = {
    **{name.casefold(): line for line, name in NAMES.items()},
    **{name.casefold().replace(" ", "").replace(".", ""): line for line, name in NAMES.items()},
    **{name.casefold().replace(" ", ""): line for line, name in NAMES.items()},
}
"""Names folded to lower case, with and without the space and the point."""
