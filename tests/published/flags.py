"""The flags, from the manuals' words, on plain integers or on numpy arrays of them.

Sources (values from memory):

* S Z AC P CY: Intel MCS-80/85 Family User's Manual, October 1979, and 8080/8085
  Assembly Language Programming Manual.
* V and K: Dehnhardt & Sorensen, Electronics, 18 January 1979.  V is two's
  complement overflow.  K (their X5) after arithmetic is the sign that the true
  result would have, which is what their formula comes to (see the arithmetic
  tests).

Every function takes bytes (0 to 255) and returns ``(result, flag byte)``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

S, Z, K, AC, P, V, CY = 0x80, 0x40, 0x20, 0x10, 0x04, 0x02, 0x01
ALL = S | Z | K | AC | P | V | CY
"""Bit 3 of the flag byte is no flag; that it reads as 0 is a choice."""

EVEN_PARITY = np.array([n.bit_count() % 2 == 0 for n in range(256)])

Number = Any
"""An int or an integer array; arithmetic below works on either."""


def signed(byte: Number) -> Number:
    """A byte as a two's complement number."""
    return byte - 256 * (byte > 127)


def flag_byte(result: Number, true: Number, *, ac: Number, v: Number, cy: Number) -> Number:
    """The flag byte after arithmetic with the 8-bit ``result`` and the signed ``true`` one."""
    return (
        S * (result > 127)
        + Z * (result == 0)
        + K * (true < 0)
        + AC * ac
        + P * EVEN_PARITY[result]
        + V * v
        + CY * cy
    )


def overflow(true: Number) -> Number:
    """Whether a signed result does not fit a byte."""
    return (true < -128) | (true > 127)


def add(a: Number, b: Number, carry: Number) -> tuple[Number, Number]:
    """ADD, ADC: AC is the carry out of bit 3, CY the one out of bit 7."""
    result = (a + b + carry) % 256
    true = signed(a) + signed(b) + carry
    ac = a % 16 + b % 16 + carry > 15
    cy = a + b + carry > 255
    return result, flag_byte(result, true, ac=ac, v=overflow(true), cy=cy)


def subtract(a: Number, b: Number, borrow: Number) -> tuple[Number, Number]:
    """SUB, SBB, CMP: CY is the borrow.

    The 8085 subtracts by adding the two's complement; AC is the carry out of
    bit 3 of that addition and is not inverted as CY is, so it is set when bit 3
    needed no borrow (Assembly Language Programming Manual, example of SUB A).
    """
    result = (a - b - borrow) % 256
    true = signed(a) - signed(b) - borrow
    ac = a % 16 - b % 16 - borrow >= 0
    cy = a - b - borrow < 0
    return result, flag_byte(result, true, ac=ac, v=overflow(true), cy=cy)


def increment(a: Number, carry: Number) -> tuple[Number, Number]:
    """INR: every flag but CY."""
    result, flags = add(a, 1, 0)
    return result, flags - flags % 2 + carry


def decrement(a: Number, carry: Number) -> tuple[Number, Number]:
    """DCR: every flag but CY."""
    result, flags = subtract(a, 1, 0)
    return result, flags - flags % 2 + carry


def logic(result: Number, *, ac: int) -> tuple[Number, Number]:
    """ANA, XRA, ORA: CY cleared; AC set by ANA and ANI on the 8085, else cleared.

    V cleared and K equal to S are choices: logic cannot overflow.
    """
    return result, flag_byte(result, signed(result), ac=ac, v=0, cy=0)


def signed16(word: Number) -> Number:
    """A 16-bit word as a two's complement number."""
    return word - 65536 * (word > 32767)


def double_add(hl: Number, pair: Number, flags: Number) -> tuple[Number, Number]:
    """DAD: CY from bit 15 and, by Dehnhardt & Sorensen, V; nothing else."""
    true = signed16(hl) + signed16(pair)
    v = (true < -32768) | (true > 32767)
    cy = hl + pair > 65535
    kept = flags & (ALL - V - CY)
    return (hl + pair) % 65536, kept + V * v + CY * cy


def double_subtract(hl: Number, bc: Number) -> tuple[Number, Number]:
    """DSUB: all flags (Dehnhardt & Sorensen).

    That Z tells of all 16 bits while S, P and AC come from the high byte's
    subtraction is a choice.
    """
    low_borrow = (hl % 256 - bc % 256) < 0
    _, flags = subtract(hl // 256, bc // 256, low_borrow * 1)
    result = (hl - bc) % 65536
    flags = flags - (flags & Z) + Z * (result == 0)
    return result, flags


def decimal_adjust(a: int, flags: int) -> tuple[int, int]:
    """DAA, step by step as the manual tells it; V and K are left at 0 (nobody published).

    Step 1: if the low four bits are over 9 or AC is set, 6 is added to the
    accumulator.  Step 2: if the high four bits are now over 9 or CY is set, 6 is
    added to them.  A carry out of the accumulator in either step sets CY.
    """
    carry = flags & CY
    auxiliary = 0
    if a % 16 > 9 or flags & AC:
        auxiliary = int(a % 16 + 6 > 15)
        a += 6
        if a > 255:
            a -= 256
            carry = 1
    if a // 16 > 9 or carry:
        a += 0x60
        if a > 255:
            a -= 256
            carry = 1
    adjusted = flag_byte(a, 0, ac=auxiliary, v=0, cy=carry)
    return a, int(adjusted)
