"""Reading back the record before a place of the trace ring."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.rows import LINES_SHIFT


@part
def levels_before(ring: Array, place: int, size: int) -> int:
    """Line levels in the record before the one at ``place``."""
    end = place if place != 0 else size
    return (ring[(end - 1) & c.PLACE_MASK] >> LINES_SHIFT) & c.LEVELS


@part
def start_before(ring: Array, place: int, size: int) -> int:
    """Start T-state in the record before the one at ``place``."""
    end = place if place != 0 else size
    return ring[(end - 2) & c.PLACE_MASK]
