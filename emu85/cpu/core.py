"""The compiled loop: one iteration is one machine cycle.

The 8085 is a sequencer of machine cycles, and so is this loop.  Each iteration
finds the row of the cycle to come, puts its address on the bus, moves its byte,
writes one trace record, and does what the row says is done at the cycle's end.
Everything between two cycles is in the state vector, so the machine can rest
after any cycle, in the middle of an instruction, and go on as if it had not.

What was considered: generating a function with a branch for each opcode is
about twice as fast as reading rows from a table, but then what an opcode does
would stand in a second place.  The table keeps one source of truth, and the
loop is still some hundreds of times faster than the chip.

Three rules keep the loop fast and its behaviour independent of how often it is
left and entered:

* All rare circumstances (a device, a floating bus, ROM under a write, a stop's
  interest) are bits of the map word of the address, so the common cycle tests
  them all at once.
* The loop leaves for a device's answer *before* the cycle has changed anything;
  on re-entry the same cycle begins again with the answer at hand.
* An input line changed at T-state ``d`` is seen by the cycle that starts at
  ``d + 1`` or later.  That is the sampling rule of the interrupt inputs (one
  T-state before the end of the instruction: User's Manual, October 1979,
  section 2.3, value from memory), so the caller sets ``LIMIT`` to the T-state
  of the next event and the loop runs while ``T <= LIMIT``.

All arithmetic is int64; mixing widths would turn into floats.
"""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import (
    INDEX_MASK,
    IO_BASE,
    SPACE,
    UNWRITTEN,
    WAIT_MASK,
    WAIT_SHIFT,
    WATCH_SHIFT,
    Exit,
    FindingField,
    FindingKind,
    MapBit,
    State,
    StopField,
)
from emu85.cpu.rows import (
    CONDITION_AT,
    DATA_SHIFT,
    FETCH,
    FETCH_AT,
    HALTED,
    HELD,
    HOLD,
    JAM_AT,
    LINES_SHIFT,
    READ,
    RECORD_AT,
    ROWS_AT,
    ROWS_MAX,
    SLOW_AT,
    SZP_AT,
    TAKE_INTR,
    TAKE_RESTART,
    TEST,
    TYPE_SHIFT,
    WAITS_SHIFT,
    WRITE,
    WRITE_BITS,
)
from emu85.isa import Addr, Op, Reg
from emu85.isa.acknowledge import VECTORS

Array = NDArray[np.int64]

# Enumeration members as plain integers, which the compiler takes as constants.
_R = int(State.REGISTERS)
_B, _C, _D, _E = (_R + int(r) for r in (Reg.B, Reg.C, Reg.D, Reg.E))
_H, _L, _TMP, _A, _F = (_R + int(r) for r in (Reg.H, Reg.L, Reg.TMP, Reg.A, Reg.F))
_W, _Z = _R + int(Reg.W), _R + int(Reg.Z)
_PCH, _PCL, _SP_PAIR = int(Reg.PCH), int(Reg.PCL), int(Reg.SP)

_T, _LIMIT, _BUDGET = int(State.T), int(State.LIMIT), int(State.BUDGET)
_ROW, _PC, _SP = int(State.ROW), int(State.PC), int(State.SP)
_HALTED, _LINES, _PREVIOUS = int(State.HALTED), int(State.LINES), int(State.PREVIOUS)
_IE, _SHADOW, _MASKS = int(State.IE), int(State.SHADOW), int(State.MASKS)
_LATCH75, _TRAP_LATCH = int(State.LATCH75), int(State.TRAP_LATCH)
_IE_BEFORE_TRAP, _TRAP_TAKEN = int(State.IE_BEFORE_TRAP), int(State.TRAP_TAKEN)
_VECTOR, _ANSWER = int(State.VECTOR), int(State.ANSWER)
_POSITION, _TOTAL = int(State.POSITION), int(State.TOTAL)
_INSTRUCTION, _PULL_UP = int(State.INSTRUCTION), int(State.PULL_UP)
_WANT_BOUNDARY = int(State.WANT_BOUNDARY)
_STOPS, _LINE_STOPS = int(State.STOPS), int(State.LINE_STOPS)
_EXIT_INDEX, _EXIT_DATA = int(State.EXIT_INDEX), int(State.EXIT_DATA)
_EXIT_TYPE, _EXIT_T = int(State.EXIT_TYPE), int(State.EXIT_T)
_HOLD_SINCE, _LAST_START = int(State.HOLD_SINCE), int(State.LAST_START)
_SKIP = int(State.SKIP_HOLD_BEFORE)

_AT_PC, _AT_PC_HELD = int(Addr.PC), int(Addr.PC_HELD)
_AT_BC, _AT_DE, _AT_HL = int(Addr.BC), int(Addr.DE), int(Addr.HL)
_AT_PORT = int(Addr.PORT)
_AT_WZ, _AT_WZ_UP = int(Addr.WZ), int(Addr.WZ_UP)
_AT_SP, _AT_SP_UP, _AT_SP_DOWN = int(Addr.SP), int(Addr.SP_UP), int(Addr.SP_DOWN)

_READ_EXIT, _WRITE_EXIT = int(MapBit.READ_EXIT), int(MapBit.WRITE_EXIT)
_NO_READER, _NO_WRITER = int(MapBit.NO_READER), int(MapBit.NO_WRITER)
_ROM, _CONTENTION = int(MapBit.ROM), int(MapBit.CONTENTION)
_NOT_CODE, _NOT_STACK = int(MapBit.NOT_CODE), int(MapBit.NOT_STACK)
_HOLD_BEFORE = int(MapBit.HOLD_BEFORE)
_WRITE_SLOW = int(WRITE_BITS | MapBit.NOT_STACK)
_WATCH_ALL = ((1 << len(Cycle)) - 1) << WATCH_SHIFT

_X_LIMIT, _X_BUDGET, _X_READ = int(Exit.LIMIT), int(Exit.BUDGET), int(Exit.READ)
_X_WRITE, _X_STOP, _X_IDLE = int(Exit.WRITE), int(Exit.STOP), int(Exit.IDLE)
_X_SOD, _X_BOUNDARY, _X_HLDA = int(Exit.SOD), int(Exit.BOUNDARY), int(Exit.HLDA)

_TRAP, _RST75, _RST65 = int(Line.TRAP), int(Line.RST75), int(Line.RST65)
_RST55, _INTR, _SID = int(Line.RST55), int(Line.INTR), int(Line.SID)
_HOLD, _SOD, _HLDA = int(Line.HOLD), int(Line.SOD), int(Line.HLDA)
_READY, _FLOATING, _FINDING = int(Line.READY), int(Line.FLOATING), int(Line.FINDING)

_OF = int(Cycle.OF)
_OF_RECORD = _OF << TYPE_SHIFT | int(Line.S1 | Line.S0) << LINES_SHIFT
_WAITS = WAIT_MASK << WAIT_SHIFT
_FETCH_SLOW = (
    _WAITS
    | (1 << (WATCH_SHIFT + _OF))
    | _READ_EXIT
    | _NO_READER
    | _CONTENTION
    | _NOT_CODE
    | _HOLD_BEFORE
)

_VECTOR_TRAP, _VECTOR75, _VECTOR65, _VECTOR55 = VECTORS.values()

_COUNT, _FIRST_T = int(FindingField.COUNT), int(FindingField.FIRST_T)
_LAST_T, _FIRST_PC = int(FindingField.LAST_T), int(FindingField.FIRST_PC)
_FLOATING_READ, _CONTENDED = int(FindingKind.FLOATING_READ), int(FindingKind.CONTENTION)
_ROM_WRITE, _LOST_WRITE = int(FindingKind.ROM_WRITE), int(FindingKind.LOST_WRITE)
_UNWRITTEN_READ = int(FindingKind.UNWRITTEN_READ)
_OUTSIDE_CODE, _STACK = int(FindingKind.NOT_CODE), int(FindingKind.STACK)

_S_ACTIVE, _S_TYPES = int(StopField.ACTIVE), int(StopField.TYPES)
_S_LOW, _S_HIGH, _S_OUTSIDE = (
    int(StopField.LOW),
    int(StopField.HIGH),
    int(StopField.OUTSIDE),
)
_S_AMASK, _S_AVALUE = int(StopField.ADDRESS_MASK), int(StopField.ADDRESS_VALUE)
_S_DMASK, _S_DVALUE = int(StopField.DATA_MASK), int(StopField.DATA_VALUE)
_S_DLOW, _S_DHIGH = int(StopField.DATA_LOW), int(StopField.DATA_HIGH)
_S_LMASK, _S_LVALUE = int(StopField.LINE_MASK), int(StopField.LINE_VALUE)
_S_EDGES, _S_PASSES, _S_SEEN = (
    int(StopField.EDGE_MASK),
    int(StopField.PASSES),
    int(StopField.SEEN),
)
_S_NEXT, _S_FIRST = int(StopField.NEXT), int(StopField.FIRST)
_S_LINES_ONLY, _S_FINDING = int(StopField.LINES_ONLY), int(StopField.FINDING)
_S_HITS, _S_LAST_T = int(StopField.HITS), int(StopField.LAST_T)
_JUST_ACTIVATED = 2

# Masks that keep an index from being taken for one that counts from the end.
_ROW_MASK = ROWS_MAX - 1
_PLACE_MASK = (1 << 32) - 1
_LEVELS = int(Line.FLOATING) - 1

Function = TypeVar("Function", bound=Callable[..., object])


def _part(function: Function) -> Function:
    """Compile a piece of the loop, to be inlined.

    Without ``_nrt=False`` every call would count references to its arrays, which
    halves the speed.
    """
    compiler: Any = numba.njit
    options = {"error_model": "numpy", "forceinline": True, "_nrt": False}
    return cast(Function, compiler(**options)(function))


# Operation numbers, by name, for the switch below.
_MOVE, _ADD, _ADC, _SUB, _SBB = (
    int(Op[n]) for n in ("MOVE", "ADD", "ADC", "SUB", "SBB")
)
_ANA, _XRA, _ORA, _CMP = (int(Op[n]) for n in ("ANA", "XRA", "ORA", "CMP"))
_INR, _DCR, _INX, _DCX, _DAD = (int(Op[n]) for n in ("INR", "DCR", "INX", "DCX", "DAD"))
_RLC, _RRC, _RAL, _RAR, _DAA = (int(Op[n]) for n in ("RLC", "RRC", "RAL", "RAR", "DAA"))
_CMA, _STC, _CMC, _JUMP = (int(Op[n]) for n in ("CMA", "STC", "CMC", "JUMP"))
_RESTART, _TO_VECTOR = int(Op.RESTART), int(Op.VECTOR)
_HL_TO_PC, _HL_TO_SP, _WZ_TO_SP = int(Op.HL_TO_PC), int(Op.HL_TO_SP), int(Op.WZ_TO_SP)
_WZ_TO_HL, _DE_TO_WZ, _XCHG = int(Op.WZ_TO_HL), int(Op.DE_TO_WZ), int(Op.XCHG)
_EI, _DI, _RIM, _SIM, _HALT = (int(Op[n]) for n in ("EI", "DI", "RIM", "SIM", "HALT"))
_DSUB, _ARHL, _RDEL = int(Op.DSUB), int(Op.ARHL), int(Op.RDEL)
_HL_PLUS_Z, _SP_PLUS_Z = int(Op.HL_PLUS_Z), int(Op.SP_PLUS_Z)
_CLEAR_F3 = int(Op.CLEAR_F3)


@_part
def _note(findings: Array, kind: int, index: int, t: int, pc: int) -> None:
    """Count one finding."""
    row = kind * SPACE + index
    if findings[row, _COUNT] == 0:
        findings[row, _FIRST_T] = t
        findings[row, _FIRST_PC] = pc
    findings[row, _COUNT] += 1
    findings[row, _LAST_T] = t


@_part
def _lines_met(stops: Array, i: int, lines: int, previous: int) -> bool:
    """Whether the line part of step ``i`` holds."""
    if lines & stops[i, _S_LMASK] != stops[i, _S_LVALUE]:
        return False
    edges = stops[i, _S_EDGES]
    return (lines ^ previous) & edges == edges


@_part
def _bus_met(
    stops: Array, i: int, kind: int, address: int, data: int, finding: int
) -> bool:
    """Whether the bus part of step ``i`` holds."""
    if (stops[i, _S_TYPES] >> kind) & 1 == 0:
        return False
    inside = stops[i, _S_LOW] <= address <= stops[i, _S_HIGH]
    if inside == (stops[i, _S_OUTSIDE] != 0):
        return False
    if address & stops[i, _S_AMASK] != stops[i, _S_AVALUE]:
        return False
    if data & stops[i, _S_DMASK] != stops[i, _S_DVALUE]:
        return False
    if data < stops[i, _S_DLOW] or data > stops[i, _S_DHIGH]:
        return False
    return stops[i, _S_FINDING] == 0 or finding != 0


@_part
def _step_met(
    stops: Array,
    i: int,
    kind: int,
    address: int,
    data: int,
    lines: int,
    previous: int,
    bus: int,
    finding: int,
) -> bool:
    """Whether step ``i`` is met by the machine cycle that has just ended."""
    if not _lines_met(stops, i, lines, previous):
        return False
    if stops[i, _S_LINES_ONLY] == 0:
        return bus != 0 and _bus_met(stops, i, kind, address, data, finding)
    # A level alone counts when it comes true, not for as long as it lasts.
    came_true = previous & stops[i, _S_LMASK] != stops[i, _S_LVALUE]
    return came_true or stops[i, _S_EDGES] != 0


@_part
def _evaluate(
    stops: Array,
    count: int,
    t: int,
    kind: int,
    address: int,
    data: int,
    lines: int,
    previous: int,
    bus: int,
    finding: int,
) -> int:
    """Try every step that is being looked for; 1 if a stop has hit."""
    hit = 0
    activated = 0
    for i in range(count):
        if stops[i, _S_ACTIVE] != 1:
            continue
        if not _step_met(stops, i, kind, address, data, lines, previous, bus, finding):
            continue
        if stops[i, _S_SEEN] < stops[i, _S_PASSES]:
            stops[i, _S_SEEN] += 1
            continue
        stops[i, _S_SEEN] = 0
        following = stops[i, _S_NEXT]
        if following < 0:
            following = stops[i, _S_FIRST]
            stops[i, _S_HITS] += 1
            stops[i, _S_LAST_T] = t
            hit = 1
        # The step that comes next is looked for from the next cycle on.
        stops[i, _S_ACTIVE] = 0
        stops[following, _S_ACTIVE] = _JUST_ACTIVATED
        activated = 1
    if activated:
        for i in range(count):
            if stops[i, _S_ACTIVE] == _JUST_ACTIVATED:
                stops[i, _S_ACTIVE] = 1
    return hit


@_part
def _attention(s: Array) -> int:
    """1 if something other than plain running has to be looked at between cycles."""
    lines = s[_LINES]
    rare = (
        (lines & (_HOLD | _HLDA))
        | s[_HALTED]
        | s[_SHADOW]
        | s[_TRAP_LATCH]
        | s[_WANT_BOUNDARY]
    )
    if rare != 0:
        return 1
    return int(s[_IE] != 0 and _maskable(s) != 0)


@_part
def _maskable(s: Array) -> int:
    """Vector of the maskable input that would be taken now; 1 for INTR; 0 for none."""
    masks = s[_MASKS]
    lines = s[_LINES]
    if s[_LATCH75] != 0 and masks & 4 == 0:
        return _VECTOR75
    if lines & _RST65 != 0 and masks & 2 == 0:
        return _VECTOR65
    if lines & _RST55 != 0 and masks & 1 == 0:
        return _VECTOR55
    return 1 if lines & _INTR != 0 else 0


@_part
def _take_interrupt(s: Array) -> int:
    """Row by which a pending interrupt is taken at this boundary, or FETCH for none."""
    if s[_TRAP_LATCH] != 0:
        s[_TRAP_LATCH] = 0
        s[_VECTOR] = _VECTOR_TRAP
        s[_IE_BEFORE_TRAP] = s[_IE]
        s[_TRAP_TAKEN] = 1
        s[_IE] = 0
        s[_SKIP] = 0
        return TAKE_RESTART
    if s[_IE] == 0 or s[_SHADOW] != 0:
        return FETCH
    vector = _maskable(s)
    if vector == 0:
        return FETCH
    s[_IE] = 0
    s[_SKIP] = 0
    if vector == 1:
        return TAKE_INTR
    if vector == _VECTOR75:
        s[_LATCH75] = 0
    s[_VECTOR] = vector
    return TAKE_RESTART


@_part
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


@_part
def _address(s: Array, at: int, pc: int) -> int:
    """The address of a cycle that is not an opcode fetch; steps SP and WZ as it is due."""
    if at == _AT_HL:
        return s[_H] << 8 | s[_L]
    if at == _AT_SP_DOWN:
        s[_SP] = (s[_SP] - 1) & 0xFFFF
        return s[_SP]
    if at == _AT_SP_UP:
        address = s[_SP]
        s[_SP] = (address + 1) & 0xFFFF
        return address
    if at == _AT_WZ:
        return s[_W] << 8 | s[_Z]
    if at == _AT_BC:
        return s[_B] << 8 | s[_C]
    if at == _AT_DE:
        return s[_D] << 8 | s[_E]
    if at == _AT_WZ_UP:
        address = s[_W] << 8 | s[_Z]
        _put_pair(s, _W, (address + 1) & 0xFFFF)
        return address
    if at == _AT_SP:
        return s[_SP]
    if at == _AT_PC_HELD:
        return pc
    return s[_Z] << 8 | s[_Z]


@_part
def _step_back(s: Array, at: int) -> None:
    """Undo what :func:`_address` did for a read that must wait for a device's answer."""
    if at == _AT_SP_UP:
        s[_SP] = (s[_SP] - 1) & 0xFFFF
    if at == _AT_WZ_UP:
        _put_pair(s, _W, (_pair(s, _W) - 1) & 0xFFFF)


@_part
def _pair(s: Array, high: int) -> int:
    """A register pair by the cell of its high register."""
    return s[high] << 8 | s[high + 1]


@_part
def _put_pair(s: Array, high: int, value: int) -> None:
    s[high] = value >> 8
    s[high + 1] = value & 0xFF


@_part
def _pair_or_sp(s: Array, operand: int) -> int:
    return s[_SP] if operand == _SP_PAIR else _pair(s, _R + operand)


@_part
def _put_pair_or_sp(s: Array, operand: int, value: int) -> None:
    if operand == _SP_PAIR:
        s[_SP] = value
    else:
        _put_pair(s, _R + operand, value)


@_part
def _flags(s: Array, keep: int, flags: int) -> None:
    """Replace all flags but those in ``keep``."""
    s[_F] = (s[_F] & keep) | (flags & ~keep)


@_part
def _add_to_a(s: Array, table: Array, v: int, carry: int) -> None:
    a = s[_A]
    r = (a + v + carry) & 0xFF
    s[_F] = _add(a, v, carry, table[SZP_AT + r])
    s[_A] = r


@_part
def _subtract(s: Array, table: Array, v: int, borrow: int) -> int:
    """Set the flags of A - v - borrow and return the result byte; the borrow is CY."""
    inverse = v ^ 0xFF
    r = (s[_A] + inverse + 1 - borrow) & 0xFF
    s[_F] = _add(s[_A], inverse, 1 - borrow, table[SZP_AT + r]) ^ 1
    return r


@_part
def _logic(s: Array, table: Array, r: int, flags: int) -> None:
    """A logical result: V cleared, K as S (a choice; nobody has published them)."""
    s[_A] = r
    s[_F] = table[SZP_AT + r] | (r & 0x80) >> 2 | flags


@_part
def _count(s: Array, table: Array, r: int, v: int, step: int) -> None:
    """INR and DCR: add ``step`` (01 or FF) to register ``r``; CY is kept."""
    result = (v + step) & 0xFF
    _flags(s, 1, _add(v, step, 0, table[SZP_AT + result]))
    s[_R + r] = result


@_part
def _decimal_adjust(s: Array, table: Array) -> None:
    a = s[_A]
    carry = s[_F] & 1
    correction = 0
    if a & 0x0F > 9 or s[_F] & 0x10 != 0:
        correction = 0x06
    if a > 0x99 or carry != 0:
        correction |= 0x60
        carry = 1
    r = (a + correction) & 0xFF
    s[_F] = (_add(a, correction, 0, table[SZP_AT + r]) & ~1) | carry
    s[_A] = r


@_part
def _rotated(s: Array, r: int, out: int) -> None:
    s[_A] = r & 0xFF
    _flags(s, 0xFE, out)


@_part
def _count_pair(s: Array, operand: int, step: int, wrapped: int) -> None:
    """INX and DCX: K tells that the pair has wrapped round."""
    value = (_pair_or_sp(s, operand) + step) & 0xFFFF
    _put_pair_or_sp(s, operand, value)
    _flags(s, 0xDF, 0x20 if value == wrapped else 0)


@_part
def _double_add(s: Array, v: int) -> None:
    hl = _pair(s, _H)
    r = hl + v
    _flags(s, 0xFC, r >> 16 | ((hl ^ r) & (v ^ r) & 0x8000) >> 14)
    _put_pair(s, _H, r & 0xFFFF)


@_part
def _double_subtract(s: Array, table: Array) -> None:
    """DSUB: the low bytes first, then the high bytes with their borrow."""
    low = s[_L] + (s[_C] ^ 0xFF) + 1
    inverse = s[_B] ^ 0xFF
    h = s[_H]
    r = (h + inverse + (low >> 8)) & 0xFF
    flags = _add(h, inverse, low >> 8, table[SZP_AT + r]) ^ 1
    if low & 0xFF != 0:
        flags &= ~0x40
    s[_F] = flags
    s[_H] = r
    s[_L] = low & 0xFF


@_part
def _shift_hl(s: Array) -> None:
    hl = _pair(s, _H)
    _flags(s, 0xFE, hl & 1)
    _put_pair(s, _H, hl >> 1 | (hl & 0x8000))


@_part
def _rotate_de(s: Array) -> None:
    de = _pair(s, _D)
    r = de << 1 | (s[_F] & 1)
    _flags(s, 0xFC, r >> 16 | ((de ^ r) & 0x8000) >> 14)
    _put_pair(s, _D, r & 0xFFFF)


@_part
def _exchange(s: Array) -> None:
    hl = _pair(s, _H)
    _put_pair(s, _H, _pair(s, _D))
    _put_pair(s, _D, hl)


@_part
def _operate(s: Array, table: Array, op: int, w: int, pc: int) -> int:
    """Everything an instruction does with registers and flags alone; returns the PC.

    One level of comparisons, which the compiler turns into one jump by table.
    """
    r = (w >> 8) & 15
    operand = (w >> 12) & 127
    if op == _MOVE:
        s[_R + r] = s[_R + (operand & 15)]
    elif op == _JUMP:
        return _pair(s, _W)
    elif op == _ADD:
        _add_to_a(s, table, s[_R + (operand & 15)], 0)
    elif op == _ADC:
        _add_to_a(s, table, s[_R + (operand & 15)], s[_F] & 1)
    elif op == _SUB:
        s[_A] = _subtract(s, table, s[_R + (operand & 15)], 0)
    elif op == _SBB:
        s[_A] = _subtract(s, table, s[_R + (operand & 15)], s[_F] & 1)
    elif op == _CMP:
        _subtract(s, table, s[_R + (operand & 15)], 0)
    elif op == _ANA:
        # The 8085 sets AC in every AND; the 8080 did not (User's Manual, ANA).
        _logic(s, table, s[_A] & s[_R + (operand & 15)], 0x10)
    elif op == _XRA:
        _logic(s, table, s[_A] ^ s[_R + (operand & 15)], 0)
    elif op == _ORA:
        _logic(s, table, s[_A] | s[_R + (operand & 15)], 0)
    elif op == _INR:
        _count(s, table, r, s[_R + r], 1)
    elif op == _DCR:
        _count(s, table, r, s[_R + r], 0xFF)
    elif op == _INX:
        _count_pair(s, operand, 1, 0)
    elif op == _DCX:
        _count_pair(s, operand, -1, 0xFFFF)
    elif op == _DAD:
        _double_add(s, _pair_or_sp(s, operand))
    elif op == _RLC:
        _rotated(s, s[_A] << 1 | s[_A] >> 7, s[_A] >> 7)
    elif op == _RRC:
        _rotated(s, s[_A] >> 1 | s[_A] << 7, s[_A] & 1)
    elif op == _RAL:
        _rotated(s, s[_A] << 1 | (s[_F] & 1), s[_A] >> 7)
    elif op == _RAR:
        _rotated(s, s[_A] >> 1 | (s[_F] & 1) << 7, s[_A] & 1)
    elif op == _DAA:
        _decimal_adjust(s, table)
    elif op == _CMA:
        s[_A] ^= 0xFF
    elif op == _STC:
        s[_F] |= 1
    elif op == _CMC:
        s[_F] ^= 1
    elif op == _RESTART:
        return operand
    elif op == _TO_VECTOR:
        return s[_VECTOR]
    elif op == _HL_TO_PC:
        return _pair(s, _H)
    elif op == _HL_TO_SP:
        s[_SP] = _pair(s, _H)
    elif op == _WZ_TO_SP:
        s[_SP] = _pair(s, _W)
    elif op == _WZ_TO_HL:
        _put_pair(s, _H, _pair(s, _W))
    elif op == _DE_TO_WZ:
        _put_pair(s, _W, _pair(s, _D))
    elif op == _XCHG:
        _exchange(s)
    elif op == _DSUB:
        _double_subtract(s, table)
    elif op == _ARHL:
        _shift_hl(s)
    elif op == _RDEL:
        _rotate_de(s)
    elif op == _HL_PLUS_Z:
        _put_pair(s, _D, (_pair(s, _H) + s[_Z]) & 0xFFFF)
    elif op == _SP_PLUS_Z:
        _put_pair(s, _D, (s[_SP] + s[_Z]) & 0xFFFF)
    elif op == _CLEAR_F3:
        s[_F] &= 0xF7
    return pc


@_part
def _control(s: Array, op: int) -> int:
    """EI, DI, RIM, SIM and halt; returns exit bits."""
    if op == _EI:
        s[_IE] = 1
        s[_SHADOW] = 1
    elif op == _DI:
        s[_IE] = 0
    elif op == _HALT:
        s[_HALTED] = 1
    elif op == _RIM:
        lines = s[_LINES]
        # The first RIM after a TRAP tells what IE was before it.
        ie = s[_IE_BEFORE_TRAP] if s[_TRAP_TAKEN] != 0 else s[_IE]
        s[_TRAP_TAKEN] = 0
        s[_A] = (
            s[_MASKS]
            | ie << 3
            | (0x10 if lines & _RST55 else 0)
            | (0x20 if lines & _RST65 else 0)
            | s[_LATCH75] << 6
            | (0x80 if lines & _SID else 0)
        )
    elif op == _SIM:
        return _set_masks(s)
    return 0


@_part
def _set_masks(s: Array) -> int:
    a = s[_A]
    if a & 0x08 != 0:
        s[_MASKS] = a & 7
    if a & 0x10 != 0:
        s[_LATCH75] = 0
    if a & 0x40 == 0:
        return 0
    level = _SOD if a & 0x80 else 0
    if s[_LINES] & _SOD == level:
        return 0
    s[_LINES] ^= _SOD
    return _X_SOD


@_part
def _read_findings(
    findings: Array, s: Array, m: int, slow: int, v: np.int64, index: int, t: int
) -> int:
    """Note what is wrong with a read; returns line bits for its record."""
    pc = s[_INSTRUCTION]
    notes = 0
    if slow & _NO_READER != 0:
        _note(findings, _FLOATING_READ, index, t, pc)
        notes = _FLOATING | _FINDING
    if v & UNWRITTEN != 0 and m & _READ_EXIT == 0:
        _note(findings, _UNWRITTEN_READ, index, t, pc)
        notes |= _FINDING
    if slow & _NOT_CODE != 0:
        _note(findings, _OUTSIDE_CODE, index, t, pc)
        notes |= _FINDING
    if slow & _CONTENTION != 0:
        _note(findings, _CONTENDED, index, t, pc)
        notes |= _FINDING
    return notes


@_part
def _write_findings(findings: Array, s: Array, slow: int, index: int, t: int) -> int:
    """Note what is wrong with a write; returns line bits for its record."""
    pc = s[_INSTRUCTION]
    notes = 0
    if slow & _ROM != 0:
        _note(findings, _ROM_WRITE, index, t, pc)
        notes = _FINDING
    if slow & _NO_WRITER != 0:
        _note(findings, _LOST_WRITE, index, t, pc)
        notes |= _FINDING
    if slow & _NOT_STACK != 0:
        _note(findings, _STACK, index, t, pc)
        notes |= _FINDING
    return notes


@_part
def _ask(s: Array, index: int, kind: int, t: int) -> None:
    """Leave word of the cycle that a device has to hear of."""
    s[_EXIT_INDEX] = index
    s[_EXIT_TYPE] = kind
    s[_EXIT_T] = t


@_part
def _levels_before(ring: Array, place: int, size: int) -> int:
    """Line levels in the record before the one at ``place``."""
    end = place if place != 0 else size
    return (ring[(end - 1) & _PLACE_MASK] >> LINES_SHIFT) & _LEVELS


@_part
def _start_before(ring: Array, place: int, size: int) -> int:
    """Start T-state in the record before the one at ``place``."""
    end = place if place != 0 else size
    return ring[(end - 2) & _PLACE_MASK]


@_part
def _hold_sampled(s: Array, ring: Array, place: int, moved: bool) -> bool:
    """Whether HOLD was high by T2 of the last cycle; one that rose later waits a cycle."""
    if s[_HALTED] != 0:
        return True
    start = _start_before(ring, place, ring.shape[0]) if moved else s[_LAST_START]
    return s[_HOLD_SINCE] <= start + 1


@_part
def _stopped(
    stops: Array,
    s: Array,
    data_watch: Array,
    slow: int,
    record: int,
    previous: int,
    t: int,
) -> bool:
    """Whether a stop hits in the cycle of ``record``; looks closer only where one may."""
    kind = (record >> TYPE_SHIFT) & 15
    data = (record >> DATA_SHIFT) & 0xFF
    lines = (record >> LINES_SHIFT) & _LEVELS
    finding = (record >> LINES_SHIFT) & _FINDING
    bus = (slow >> (WATCH_SHIFT + kind)) & (data_watch[data] >> kind) & 1 | finding
    if bus == 0 and (s[_LINE_STOPS] == 0 or lines == previous):
        return False
    address = record & 0xFFFF
    return (
        _evaluate(
            stops, s[_STOPS], t, kind, address, data, lines, previous, bus, finding
        )
        != 0
    )


def run(
    s: Array,
    memory_map: Array,
    store: NDArray[np.uint16],
    ring: Array,
    stops: Array,
    data_watch: Array,
    findings: Array,
    table: Array,
) -> int:
    """Run machine cycles until there is a reason to return.

    Args:
        s: state vector, int64 (``layout.State``).
        memory_map: int64, ``layout.SPACE`` map words.
        store: uint16, the bytes of all chips.
        ring: int64, 2n cells: start T-state and packed record of each cycle.
        stops: int64, shape (n, ``STOP_FIELDS``).
        data_watch: int64, 256 masks of cycle types that some stop looks at.
        findings: int64, shape (kinds * SPACE, 4).
        table: int64, from :func:`emu85.cpu.rows.pack`.

    Returns:
        ``layout.Exit`` bits.
    """
    t = s[_T]
    limit = s[_LIMIT]
    budget = s[_BUDGET]
    row = s[_ROW]
    pc = s[_PC]
    place = s[_POSITION]
    size = ring.shape[0]
    started = budget
    # The lines word of the record, as it is in all but rare cycles.
    usual = (s[_LINES] | _READY) << LINES_SHIFT
    attention = _attention(s)
    out = 0

    while out == 0:
        if t > limit:
            out = _X_LIMIT
            break
        if budget <= 0:
            out = _X_BUDGET
            break

        # ---- which row comes next
        k = row
        if attention != 0:
            lines = s[_LINES]
            held = lines & _HLDA != 0
            wanted = lines & _HOLD != 0 and (
                held or _hold_sampled(s, ring, place, budget != started)
            )
            if wanted and held:
                out = _X_IDLE
                break
            if held:
                s[_LINES] = lines & ~_HLDA
                if s[_HALTED] != 0:
                    row = HALTED
                out = _X_HLDA
                break
            if wanted:
                k = HELD
            elif row == FETCH:
                if s[_WANT_BOUNDARY] == 2:
                    out = _X_BOUNDARY
                    break
                k = _take_interrupt(s)
                if k != FETCH:
                    s[_HALTED] = 0
                    row = k
                    attention = _attention(s)
                elif s[_HALTED] != 0:
                    out = _X_IDLE
                    break

        if k == FETCH:
            # ---- an opcode fetch
            address = pc
            index = pc
            m = memory_map[pc & 0xFFFF]
            v = np.int64(store[m & INDEX_MASK])
            data = v & 0xFF
            slow = m & _FETCH_SLOW
            record = usual | _OF_RECORD
            rare = slow | (v & UNWRITTEN)
            if rare != 0:
                if slow & _HOLD_BEFORE != 0 and s[_SKIP] == 0:
                    out = _X_BOUNDARY
                    break
                if slow & _READ_EXIT != 0:
                    data = s[_ANSWER]
                    if data < 0:
                        _ask(s, index, _OF, t)
                        out = _X_READ
                        break
                    s[_ANSWER] = -1
                s[_SKIP] = 0
                s[_INSTRUCTION] = address
                record |= (
                    _read_findings(findings, s, m, slow, v, index, t) << LINES_SHIFT
                )
            s[_INSTRUCTION] = address
            w = table[FETCH_AT + data]
            pc = (pc + 1) & 0xFFFF
            if attention != 0 and s[_SHADOW] != 0:
                s[_SHADOW] = 0
                attention = _attention(s)
        else:
            # ---- any other cycle
            k &= _ROW_MASK
            w = table[ROWS_AT + k]
            record = usual | table[RECORD_AT + k]
            at = w & 15
            direction = (w >> 25) & 3
            if at == _AT_PC:
                address = pc
                index = pc
                m = memory_map[pc & 0xFFFF]
                slow = m & table[SLOW_AT + k]
            else:
                address = _address(s, at, pc) & 0xFFFF
                index = address
                if at == _AT_PORT:
                    index = IO_BASE + (address & 0xFF)
                m = memory_map[index]
                if at == _AT_PC_HELD:
                    # No chip is selected: only a stop can be interested.
                    m &= _WATCH_ALL
                    if direction == READ:
                        m |= _READ_EXIT
                slow = m & table[SLOW_AT + k]

            if direction == READ:
                v = np.int64(store[m & INDEX_MASK])
                data = v & 0xFF
                rare = slow | (v & UNWRITTEN)
                if rare != 0:
                    if slow & _READ_EXIT != 0:
                        data = s[_ANSWER]
                        if data < 0:
                            _step_back(s, at)
                            _ask(s, index, (record >> TYPE_SHIFT) & 15, t)
                            out = _X_READ
                            break
                        s[_ANSWER] = -1
                    record |= (
                        _read_findings(findings, s, m, slow, v, index, t) << LINES_SHIFT
                    )
                s[_R + ((w >> 8) & 15)] = data
                if at == _AT_PC:
                    pc = (pc + 1) & 0xFFFF
                elif k == TAKE_INTR:
                    s[_INSTRUCTION] = address
                    w = table[JAM_AT + data]
            elif direction == WRITE:
                rare = slow
                r = (w >> 8) & 15
                if r == _PCH:
                    data = pc >> 8
                elif r == _PCL:
                    data = pc & 0xFF
                else:
                    data = s[_R + r]
                if slow & (_ROM | _NO_WRITER) == 0:
                    store[m & INDEX_MASK] = data
                if slow & _WRITE_SLOW != 0:
                    record |= (
                        _write_findings(findings, s, slow, index, t) << LINES_SHIFT
                    )
                    if slow & _WRITE_EXIT != 0:
                        _ask(s, index, (record >> TYPE_SHIFT) & 15, t)
                        s[_EXIT_DATA] = data
                        out |= _X_WRITE
            else:
                rare = slow
                data = s[_PULL_UP]
                record |= _FLOATING << LINES_SHIFT
                if k == HELD:
                    s[_LINES] |= _HLDA
                    usual |= _HLDA << LINES_SHIFT
                    record |= usual
                    out |= _X_HLDA

        # ---- its record, wait states, and the stops
        record |= address | data << DATA_SHIFT
        ring[place & _PLACE_MASK] = t
        if rare != 0 or s[_LINE_STOPS] != 0:
            waits = (m >> WAIT_SHIFT) & WAIT_MASK
            if waits != 0:
                record = (record & ~(_READY << LINES_SHIFT)) | waits << WAITS_SHIFT
            previous = s[_PREVIOUS]
            if budget != started:
                previous = _levels_before(ring, place, size)
            if _stopped(stops, s, data_watch, slow, record, previous, t):
                out |= _X_STOP
            t += waits
        ring[(place + 1) & _PLACE_MASK] = record
        place += 2
        if place == size:
            place = 0
        budget -= 1
        t += (w >> 4) & 15

        # ---- what is done when it has ended
        following = (w >> 27) & _ROW_MASK
        op = (w >> 19) & 63
        if op != 0:
            if op == TEST:
                condition = CONDITION_AT + 2 * ((w >> 12) & 15)
                met = s[_F] & table[condition] != 0
                if met != (table[condition + 1] != 0):
                    following = FETCH
                    pc = (pc + ((w >> 37) & 1)) & 0xFFFF
            elif op < _EI:
                pc = _operate(s, table, op, w, pc) & 0xFFFF
            elif op == HOLD:
                following = row
            else:
                out |= _control(s, op)
                usual = (s[_LINES] | _READY) << LINES_SHIFT
                attention = _attention(s)
        row = following
        if attention != 0 and row == FETCH and s[_WANT_BOUNDARY] == 1:
            s[_WANT_BOUNDARY] = 2

    s[_T] = t
    s[_BUDGET] = budget
    s[_ROW] = row
    s[_PC] = pc
    s[_POSITION] = place
    s[_TOTAL] += started - budget
    if started != budget:
        s[_PREVIOUS] = _levels_before(ring, place, size)
        s[_LAST_START] = _start_before(ring, place, size)
    return out


_VECTOR_OF = numba.int64[::1]
_TABLE_OF = numba.int64[:, ::1]
SIGNATURE = numba.int64(
    _VECTOR_OF,
    _VECTOR_OF,
    numba.uint16[::1],
    _VECTOR_OF,
    _TABLE_OF,
    _VECTOR_OF,
    _TABLE_OF,
    _VECTOR_OF,
)
"""Types of the arguments of the loop."""
