"""The interrupt bits of a trace record: what the CPU keeps inside, and no pin shows.

They stand where RIM reads them (User's Manual, October 1979, RIM; value from memory);
TRAP, of which RIM tells nothing, has a bit that RIM uses for the level of an input.
"""

from __future__ import annotations

import enum

from emu85.bus.lines import Line


class Interrupts(enum.IntFlag):
    """Bits of the ``interrupts`` byte of a trace record (uint8)."""

    M55 = 1 << 0
    M65 = 1 << 1
    M75 = 1 << 2
    """RST 7.5 is masked; M65 and M55 are alike."""
    IE = 1 << 3
    """Interrupts are enabled."""
    TRAP = 1 << 4
    """The latch of TRAP: its edge has come, the line is still high, and it was not taken."""
    I75 = 1 << 6
    """The latch of RST 7.5: its edge has come, and neither was it taken nor cleared."""


MASKS = {
    Line.RST75: Interrupts.M75,
    Line.RST65: Interrupts.M65,
    Line.RST55: Interrupts.M55,
}
"""The bit that masks each input that can be masked, for RIM and SIM alike."""
