"""The interrupt bits of a record, from the state vector; for the loop and for Python alike."""

from __future__ import annotations

from collections.abc import Sequence

from emu85.bus.interrupts import Interrupts
from emu85.cpu.layout import State

# Enumeration members as plain integers, which the compiler takes as constants.
_MASKS, _IE, _TRAP, _I75 = (
    int(State.MASKS),
    int(State.IE),
    int(State.TRAP_LATCH),
    int(State.LATCH75),
)
_IE_BIT, _TRAP_BIT, _I75_BIT = int(Interrupts.IE), int(Interrupts.TRAP), int(Interrupts.I75)


def interrupt_bits(state: Sequence[int]) -> int:
    """``Interrupts`` bits as they are now.

    Args:
        state: the state vector (``layout.State``).
    """
    latches = state[_TRAP] * _TRAP_BIT | state[_I75] * _I75_BIT
    return state[_MASKS] | state[_IE] * _IE_BIT | latches
