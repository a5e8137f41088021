"""Interrupts, the halt state and HOLD: what is looked at between machine cycles.

Priorities and sampling after the User's Manual, October 1979, section 2.3
(value from memory).
"""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu import constants as c
from emu85.cpu.interrupt_bits import interrupt_bits
from emu85.cpu.kernel import Array, part
from emu85.cpu.ring import start_before
from emu85.cpu.rows import (
    FETCH,
    HELD,
    INTERRUPTS_SHIFT,
    LINES_SHIFT,
    TAKE_INTR,
    TAKE_RESTART,
)

_interrupt_bits = part(interrupt_bits)


@part
def usual_bits(s: Array) -> int:
    """Lines and interrupt bits of a record, as they are in all but rare cycles."""
    return _interrupt_bits(s) << INTERRUPTS_SHIFT | (s[c.LINES] | c.READY) << LINES_SHIFT


@part
def attention_wanted(s: Array) -> int:
    """1 if something other than plain running has to be looked at between cycles."""
    lines = s[c.LINES]
    rare = (
        (lines & (c.HOLD | c.HLDA))
        | s[c.HALTED]
        | s[c.SHADOW]
        | s[c.TRAP_LATCH]
        | s[c.WANT_BOUNDARY]
    )
    if rare != 0:
        return 1
    return int(s[c.IE] != 0 and _maskable(s) != 0)


@part
def _maskable(s: Array) -> int:
    """Vector of the maskable input that would be taken now; 1 for INTR; 0 for none."""
    masks = s[c.MASKS]
    lines = s[c.LINES]
    if s[c.LATCH75] != 0 and masks & 4 == 0:
        return c.VECTOR75
    if lines & c.RST65 != 0 and masks & 2 == 0:
        return c.VECTOR65
    if lines & c.RST55 != 0 and masks & 1 == 0:
        return c.VECTOR55
    return 1 if lines & c.INTR != 0 else 0


@part
def take_interrupt(s: Array) -> int:
    """Row by which a pending interrupt is taken at this boundary, or FETCH for none."""
    if s[c.TRAP_LATCH] != 0:
        s[c.TRAP_LATCH] = 0
        s[c.VECTOR] = c.VECTOR_TRAP
        s[c.IE_BEFORE_TRAP] = s[c.IE]
        s[c.TRAP_TAKEN] = 1
        s[c.IE] = 0
        s[c.SKIP] = 0
        return TAKE_RESTART
    if s[c.IE] == 0 or s[c.SHADOW] != 0:
        return FETCH
    vector = _maskable(s)
    if vector == 0:
        return FETCH
    s[c.IE] = 0
    s[c.SKIP] = 0
    if vector == 1:
        return TAKE_INTR
    if vector == c.VECTOR75:
        s[c.LATCH75] = 0
    s[c.VECTOR] = vector
    return TAKE_RESTART


@part
def hold_sampled(s: Array, ring: Array, place: int, moved: bool) -> bool:
    """Whether HOLD was high by T2 of the last cycle; one that rose later waits a cycle."""
    if s[c.HALTED] != 0:
        return True
    start = start_before(ring, place, ring.shape[0]) if moved else s[c.LAST_START]
    return s[c.HOLD_SINCE] <= start + 1


@part
def control(s: Array, op: int) -> int:
    """EI, DI, RIM, SIM and halt; returns exit bits."""
    if op == c.EI:
        s[c.IE] = 1
        s[c.SHADOW] = 1
    elif op == c.DI:
        s[c.IE] = 0
    elif op == c.HALT:
        s[c.HALTED] = 1
    elif op == c.RIM:
        lines = s[c.LINES]
        # The first RIM after a TRAP tells what IE was before it.
        ie = s[c.IE_BEFORE_TRAP] if s[c.TRAP_TAKEN] != 0 else s[c.IE]
        s[c.TRAP_TAKEN] = 0
        s[c.A] = (
            s[c.MASKS]
            | ie << 3
            | (0x10 if lines & c.RST55 else 0)
            | (0x20 if lines & c.RST65 else 0)
            | s[c.LATCH75] << 6
            | (0x80 if lines & c.SID else 0)
        )
    elif op == c.SIM:
        return _set_masks(s)
    return 0


@part
def _set_masks(s: Array) -> int:
    a = s[c.A]
    if a & 0x08 != 0:
        s[c.MASKS] = a & 7
    if a & 0x10 != 0:
        s[c.LATCH75] = 0
    if a & 0x40 == 0:
        return 0
    level = c.SOD if a & 0x80 else 0
    if s[c.LINES] & c.SOD == level:
        return 0
    s[c.LINES] ^= c.SOD
    s[c.MOVED] |= c.SOD
    return c.X_SOD


@part
def between_cycles(s: Array, row: int, pc: int, sampled: bool) -> int:
    """What comes before the cycle of ``row``, which is due now.

    Args:
        row: the row that is due.
        pc: the program counter.
        sampled: HOLD was high when it was last sampled.

    Returns:
        the row to run, or an exit bit negated: then nothing is run.
    """
    lines = s[c.LINES]
    held = lines & c.HLDA != 0
    if held and lines & c.HOLD == 0:
        s[c.LINES] = lines & ~c.HLDA
        s[c.MOVED] |= c.HLDA
        return -c.X_HLDA
    if held:
        return -c.X_IDLE
    if lines & c.HOLD != 0 and sampled:
        return HELD
    if row != FETCH:
        return row
    if s[c.WANT_BOUNDARY] == 2:
        return -c.X_BOUNDARY
    taken = take_interrupt(s)
    if taken != FETCH:
        s[c.HALTED] = 0
        s[c.INSTRUCTION] = pc
        return taken
    return FETCH if s[c.HALTED] == 0 else -c.X_IDLE
