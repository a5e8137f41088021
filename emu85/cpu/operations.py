"""What instructions do with registers and flags."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.pairs import pair, put_pair
from emu85.cpu.rows import NIBBLE, OPERAND_MASK, OPERAND_SHIFT, REGISTER_SHIFT, SZP_AT


@part
def _pair_or_sp(s: Array, operand: int) -> int:
    return s[c.SP] if operand == c.SP_PAIR else pair(s, c.R + operand)


@part
def _put_pair_or_sp(s: Array, operand: int, value: int) -> None:
    if operand == c.SP_PAIR:
        s[c.SP] = value
    else:
        put_pair(s, c.R + operand, value)


@part
def _flags(s: Array, keep: int, flags: int) -> None:
    """Replace all flags but those in ``keep``."""
    s[c.F] = (s[c.F] & keep) | (flags & ~keep)


@part
def _add(a: int, v: int, carry: int, szp: int) -> int:
    """Flags S Z K AC P V CY of ``a + v + carry``; ``szp`` are those of the result byte."""
    r = a + v + carry
    overflow = (a ^ r) & (v ^ r) & 0x80
    return (
        szp
        | ((r >> 8) & 1)
        | ((a ^ v ^ r) & 0x10)
        | (overflow >> 6)
        | (((r ^ overflow) & 0x80) >> 2)
    )


@part
def _add_to_a(s: Array, table: Array, v: int, carry: int) -> None:
    a = s[c.A]
    r = (a + v + carry) & 0xFF
    s[c.F] = _add(a, v, carry, table[SZP_AT + r])
    s[c.A] = r


@part
def _subtract(s: Array, table: Array, v: int, borrow: int) -> int:
    """Set the flags of A - v - borrow and return the result byte; the borrow is CY."""
    inverse = v ^ 0xFF
    r = (s[c.A] + inverse + 1 - borrow) & 0xFF
    s[c.F] = _add(s[c.A], inverse, 1 - borrow, table[SZP_AT + r]) ^ 1
    return r


@part
def _logic(s: Array, table: Array, r: int, flags: int) -> None:
    """A logical result: V cleared, K as S (a choice; nobody has published them)."""
    s[c.A] = r
    s[c.F] = table[SZP_AT + r] | (r & 0x80) >> 2 | flags


@part
def _count(s: Array, table: Array, r: int, v: int, step: int) -> None:
    """INR and DCR: add ``step`` (01 or FF) to register ``r``; CY is kept."""
    result = (v + step) & 0xFF
    _flags(s, 1, _add(v, step, 0, table[SZP_AT + result]))
    s[c.R + r] = result


@part
def _decimal_adjust(s: Array, table: Array) -> None:
    a = s[c.A]
    carry = s[c.F] & 1
    correction = 0
    if a & 0x0F > 9 or s[c.F] & 0x10 != 0:
        correction = 0x06
    if a > 0x99 or carry != 0:
        correction |= 0x60
        carry = 1
    r = (a + correction) & 0xFF
    s[c.F] = (_add(a, correction, 0, table[SZP_AT + r]) & ~1) | carry
    s[c.A] = r


@part
def _rotated(s: Array, r: int, out: int) -> None:
    s[c.A] = r & 0xFF
    _flags(s, 0xFE, out)


@part
def _count_pair(s: Array, operand: int, step: int, wrapped: int) -> None:
    """INX and DCX: K tells that the pair has wrapped round."""
    value = (_pair_or_sp(s, operand) + step) & 0xFFFF
    _put_pair_or_sp(s, operand, value)
    _flags(s, 0xDF, 0x20 if value == wrapped else 0)


@part
def _double_add(s: Array, v: int) -> None:
    hl = pair(s, c.H)
    r = hl + v
    _flags(s, 0xFC, r >> 16 | ((hl ^ r) & (v ^ r) & 0x8000) >> 14)
    put_pair(s, c.H, r & 0xFFFF)


@part
def _double_subtract(s: Array, table: Array) -> None:
    """DSUB: the low bytes first, then the high bytes with their borrow."""
    low = s[c.L] + (s[c.C] ^ 0xFF) + 1
    inverse = s[c.B] ^ 0xFF
    h = s[c.H]
    r = (h + inverse + (low >> 8)) & 0xFF
    flags = _add(h, inverse, low >> 8, table[SZP_AT + r]) ^ 1
    if low & 0xFF != 0:
        flags &= ~0x40
    s[c.F] = flags
    s[c.H] = r
    s[c.L] = low & 0xFF


@part
def _shift_hl(s: Array) -> None:
    hl = pair(s, c.H)
    _flags(s, 0xFE, hl & 1)
    put_pair(s, c.H, hl >> 1 | (hl & 0x8000))


@part
def _rotate_de(s: Array) -> None:
    de = pair(s, c.D)
    r = de << 1 | (s[c.F] & 1)
    _flags(s, 0xFC, r >> 16 | ((de ^ r) & 0x8000) >> 14)
    put_pair(s, c.D, r & 0xFFFF)


@part
def _exchange(s: Array) -> None:
    hl = pair(s, c.H)
    put_pair(s, c.H, pair(s, c.D))
    put_pair(s, c.D, hl)


@part
def operate(s: Array, table: Array, op: int, w: int, pc: int) -> int:
    """Everything an instruction does with registers and flags alone; returns the PC.

    One level of comparisons, which the compiler turns into one jump by table.
    """
    r = (w >> REGISTER_SHIFT) & NIBBLE
    operand = (w >> OPERAND_SHIFT) & OPERAND_MASK
    if op == c.MOVE:
        s[c.R + r] = s[c.R + (operand & NIBBLE)]
    elif op == c.JUMP:
        return pair(s, c.W)
    elif op == c.ADD:
        _add_to_a(s, table, s[c.R + (operand & NIBBLE)], 0)
    elif op == c.ADC:
        _add_to_a(s, table, s[c.R + (operand & NIBBLE)], s[c.F] & 1)
    elif op == c.SUB:
        s[c.A] = _subtract(s, table, s[c.R + (operand & NIBBLE)], 0)
    elif op == c.SBB:
        s[c.A] = _subtract(s, table, s[c.R + (operand & NIBBLE)], s[c.F] & 1)
    elif op == c.CMP:
        _subtract(s, table, s[c.R + (operand & NIBBLE)], 0)
    elif op == c.ANA:
        # The 8085 sets AC in every AND; the 8080 did not (User's Manual, ANA).
        _logic(s, table, s[c.A] & s[c.R + (operand & NIBBLE)], 0x10)
    elif op == c.XRA:
        _logic(s, table, s[c.A] ^ s[c.R + (operand & NIBBLE)], 0)
    elif op == c.ORA:
        _logic(s, table, s[c.A] | s[c.R + (operand & NIBBLE)], 0)
    elif op == c.INR:
        _count(s, table, r, s[c.R + r], 1)
    elif op == c.DCR:
        _count(s, table, r, s[c.R + r], 0xFF)
    elif op == c.INX:
        _count_pair(s, operand, 1, 0)
    elif op == c.DCX:
        _count_pair(s, operand, -1, 0xFFFF)
    elif op == c.DAD:
        _double_add(s, _pair_or_sp(s, operand))
    elif op == c.RLC:
        _rotated(s, s[c.A] << 1 | s[c.A] >> 7, s[c.A] >> 7)
    elif op == c.RRC:
        _rotated(s, s[c.A] >> 1 | s[c.A] << 7, s[c.A] & 1)
    elif op == c.RAL:
        _rotated(s, s[c.A] << 1 | (s[c.F] & 1), s[c.A] >> 7)
    elif op == c.RAR:
        _rotated(s, s[c.A] >> 1 | (s[c.F] & 1) << 7, s[c.A] & 1)
    elif op == c.DAA:
        _decimal_adjust(s, table)
    elif op == c.CMA:
        s[c.A] ^= 0xFF
    elif op == c.STC:
        s[c.F] |= 1
    elif op == c.CMC:
        s[c.F] ^= 1
    elif op == c.RESTART:
        return operand
    elif op == c.TO_VECTOR:
        return s[c.VECTOR]
    elif op == c.HL_TO_PC:
        return pair(s, c.H)
    elif op == c.HL_TO_SP:
        s[c.SP] = pair(s, c.H)
    elif op == c.WZ_TO_SP:
        s[c.SP] = pair(s, c.W)
    elif op == c.WZ_TO_HL:
        put_pair(s, c.H, pair(s, c.W))
    elif op == c.DE_TO_WZ:
        put_pair(s, c.W, pair(s, c.D))
    elif op == c.XCHG:
        _exchange(s)
    elif op == c.DSUB:
        _double_subtract(s, table)
    elif op == c.ARHL:
        _shift_hl(s)
    elif op == c.RDEL:
        _rotate_de(s)
    elif op == c.HL_PLUS_Z:
        put_pair(s, c.D, (pair(s, c.H) + s[c.Z]) & 0xFFFF)
    elif op == c.SP_PLUS_Z:
        put_pair(s, c.D, (s[c.SP] + s[c.Z]) & 0xFFFF)
    elif op == c.CLEAR_F3:
        s[c.F] &= 0xF7
    return pc
