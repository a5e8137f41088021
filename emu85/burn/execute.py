"""One instruction carried out on what is known, row by row of the instruction table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from emu85.burn.ground import Ground, Stands
from emu85.burn.state import (
    FLAGS,
    IE,
    Back,
    Byte,
    Flags,
    State,
    known_address,
    one_of,
    values_of,
)
from emu85.bus.cycles import READS, Cycle
from emu85.cpu.rows import FLAG_MASKS
from emu85.isa import INSTRUCTIONS, Addr, Instruction, MachineCycle, Op, Reg

_LOW = {Reg.B: Reg.C, Reg.D: Reg.E, Reg.H: Reg.L, Reg.W: Reg.Z}
_PAIR_OF = {
    Addr.BC: Reg.B,
    Addr.DE: Reg.D,
    Addr.HL: Reg.H,
    Addr.WZ: Reg.W,
    Addr.WZ_UP: Reg.W,
}
_STACK = (Addr.SP, Addr.SP_UP, Addr.SP_DOWN)
_ARITHMETIC = {Op.ADD, Op.ADC, Op.SUB, Op.SBB, Op.ANA, Op.XRA, Op.ORA}
_LOGIC = {Op.ANA, Op.XRA, Op.ORA}
_ALWAYS_ZERO = {Op.XRA, Op.SUB, Op.CMP}
"""Of A with itself."""
_KEEPS = {Op.ANA, Op.ORA}
_SIGN, _ZERO, _PARITY, _CARRY = 0x80, 0x40, 0x04, 0x01
_FLAG_BITS = {"S": _SIGN, "Z": _ZERO, "P": _PARITY, "CY": _CARRY, "AC": 0x10, "K": 0x20, "V": 0x02}
_MOST_PAIRS = 0x100
"""Pairs of values of which all results are worked out."""
_ROTATES = {Op.RLC, Op.RRC, Op.RAL, Op.RAR}
_UNKNOWN_A = {Op.DAA, Op.RIM}


class Access(NamedTuple):
    """A machine cycle beyond the instruction's own bytes.

    ``address`` is where, or None if not known; ``value`` what is written or read.
    """

    kind: Cycle
    address: int | None
    is_stack: bool
    value: Byte


class Done(NamedTuple):
    """What an instruction comes to.

    Attributes:
        state: after it, all its machine cycles done.
        accesses: its machine cycles beyond its own bytes.
        target: the high and the low byte of where it sends the PC, if it does.
        mask: what SIM takes, or None.
    """

    state: State
    accesses: tuple[Access, ...]
    target: tuple[Byte, Byte]
    mask: Byte


def execute(
    one: Instruction, operand: bytes, state: State, byte_at: Callable[[int], int | None]
) -> Done:
    """Carry out all the cycles of an instruction.

    Args:
        operand: its bytes after the opcode.
        byte_at: a byte of memory that cannot change, or None.
    """
    return _Execution(state, operand, byte_at).all(one)


def execute_at(ground: Ground, address: int, state: State) -> Done:
    """Carry out the instruction that stands at an address."""
    one = INSTRUCTIONS[ground.bytes[address & 0xFFFF]]
    operand = bytes(ground.bytes[(address + n) & 0xFFFF] for n in range(1, one.length))

    def fixed(at: int) -> int | None:
        return ground.bytes[at] if ground.at(at) is Stands.HELD else None

    return execute(one, operand, state, fixed)


def is_met(one: Instruction, flags: Flags) -> bool | None:
    """Whether the condition is met; True where there is none, None if it is not known."""
    if one.condition is None:
        return True
    mask, wanted = FLAG_MASKS[one.condition]
    if not flags.known & mask:
        return None
    return bool(flags.value & mask) == bool(wanted)


def told_by(one: Instruction, flags: Flags, met: bool) -> Flags:
    """The flags once it is known whether the condition was met: the one it tests as well."""
    if one.condition is None:
        return flags
    mask, wanted = FLAG_MASKS[one.condition]
    value = mask if bool(wanted) == met else 0
    return Flags(flags.known | mask, flags.value & ~mask | value)


class _Execution:
    def __init__(self, state: State, operand: bytes, byte_at: Callable[[int], int | None]) -> None:
        self._state = state
        self._registers = list(state.registers)
        self._operand = list(operand)
        self._byte_at = byte_at
        self._stack = None if state.stack is None else list(state.stack)
        self._taken = state.taken
        self._moved = state.moved
        self._sp = state.sp
        self._sp_set = state.sp_set
        self._ie = state.ie
        self._accesses: list[Access] = []
        self._target: tuple[Byte, Byte] = (None, None)
        self._mask: Byte = None
        self._flags = state.flags

    def all(self, one: Instruction) -> Done:
        self._forget_flags(one)
        for cycle in one.cycles:
            self._cycle(cycle)
            self._do(cycle)
        state = replace(
            self._state,
            registers=tuple(self._registers),
            stack=None if self._stack is None else tuple(self._stack),
            taken=self._taken,
            moved=self._moved,
            sp=self._sp,
            sp_set=self._sp_set,
            ie=self._ie,
            flags=self._flags,
            uneven=self._state.uneven if self._stack is None else None,
        )
        return Done(state, tuple(self._accesses), self._target, self._mask)

    # --- the bus ---------------------------------------------------------------

    def _cycle(self, cycle: MachineCycle) -> None:
        if cycle.kind is Cycle.OF or cycle.address is Addr.PC_HELD:
            return
        if cycle.address is Addr.PC:
            self._registers[cycle.register] = self._operand.pop(0)
        elif cycle.address in _STACK:
            self._stack_cycle(cycle)
        else:
            self._other_cycle(cycle)

    def _other_cycle(self, cycle: MachineCycle) -> None:
        address = (
            known_address((0, self._registers[Reg.Z]))
            if cycle.address is Addr.PORT
            else self._pair(_PAIR_OF[cycle.address])
        )
        is_read = cycle.kind in READS
        value = None if is_read else self._registers[cycle.register]
        if cycle.kind is Cycle.MR and address is not None:
            value = self._byte_at(address)
        self._accesses.append(Access(cycle.kind, address, False, value))
        if is_read:
            self._registers[cycle.register] = value
        if cycle.address is Addr.WZ_UP:
            self._step(Reg.W, 1)

    def _stack_cycle(self, cycle: MachineCycle) -> None:
        self._sp_set = True  # whatever it is: a use before it was loaded is told once
        if cycle.kind is Cycle.MW:
            value = self._put_out(cycle.register)
            if cycle.address is Addr.SP_DOWN:
                self._move_sp(-1)
                self._push(value)
            else:
                self._replace_top(value)
            self._accesses.append(Access(cycle.kind, self._sp, True, value))
            return
        self._accesses.append(Access(cycle.kind, self._sp, True, None))
        if cycle.address is Addr.SP_UP:
            self._registers[cycle.register] = self._pop()
            self._move_sp(1)
        else:
            self._registers[cycle.register] = self._stack[-1] if self._stack else None
        self._registers[Reg.F] = FLAGS

    def _put_out(self, register: Reg) -> Byte:
        if register is Reg.PCH:
            return Back(0, True)
        return Back(0, False) if register is Reg.PCL else self._registers[register]

    def _push(self, value: Byte) -> None:
        if self._stack is not None:
            self._stack.append(value)

    def _pop(self) -> Byte:
        if self._stack:
            return self._stack.pop()
        if self._stack is None:
            return None
        self._taken += 1
        return None if self._sp is None else self._byte_at(self._sp)

    def _replace_top(self, value: Byte) -> None:
        if self._stack:
            self._stack[-1] = value

    def _move_sp(self, by: int) -> None:
        if self._sp is not None:
            self._sp = (self._sp + by) & 0xFFFF

    def _load_sp(self, value: int | None) -> None:
        self._sp = value
        self._sp_set = self._moved = True
        self._taken = 0
        self._stack = [] if value is not None else None

    # --- flags -----------------------------------------------------------------

    def _forget_flags(self, one: Instruction) -> None:
        changed = 0
        for name in one.flags.split():
            changed |= _FLAG_BITS[name]
        known = self._flags.known & ~changed
        self._flags = Flags(known, self._flags.value & known)

    def _know(self, result: int, carry: int | None = None) -> None:
        """Note the flags that a known result gives."""
        value = result & 0xFF
        shown = (_SIGN if value & 0x80 else 0) | (0 if value else _ZERO)
        shown |= 0 if value.bit_count() & 1 else _PARITY
        known = _SIGN | _ZERO | _PARITY
        if carry is not None:
            known |= _CARRY
            shown |= carry
        kept = self._flags.known & ~known
        self._flags = Flags(kept | known, self._flags.value & kept | shown)

    # --- inside ----------------------------------------------------------------

    def _pair(self, high: int) -> int | None:
        if high == Reg.SP:
            return self._sp
        return known_address((self._registers[high], self._registers[_LOW[Reg(high)]]))

    def _put_pair(self, high: int, value: int | None) -> None:
        low = _LOW[Reg(high)]
        self._registers[high] = None if value is None else value >> 8 & 0xFF
        self._registers[low] = None if value is None else value & 0xFF

    def _copy_pair(self, to: Reg, of: Reg) -> None:
        self._registers[to] = self._registers[of]
        self._registers[_LOW[to]] = self._registers[_LOW[of]]

    def _step(self, pair: int, by: int) -> None:
        if pair == Reg.SP:
            for _ in range(max(by, 0)):
                self._pop()
            if by < 0:
                self._push(None)
            self._move_sp(by)
            return
        high, low = self._registers[pair], self._registers[_LOW[Reg(pair)]]
        if isinstance(high, Back) and isinstance(low, Back) and high.offset == low.offset:
            offset = high.offset + by
            self._registers[pair] = Back(offset, True)
            self._registers[_LOW[Reg(pair)]] = Back(offset, False)
            return
        value = self._pair(pair)
        self._put_pair(pair, None if value is None else value + by & 0xFFFF)

    def _do(self, cycle: MachineCycle) -> None:
        does = cycle.does
        if does in _ARITHMETIC or does is Op.CMP:
            self._compute(does, cycle.operand)
        elif does in _ROTATES:
            self._rotate(does)
        elif does in _UNKNOWN_A:
            self._registers[Reg.A] = None
        elif does in _PLAIN:
            _PLAIN[does](self, cycle)

    def _compute(self, does: Op, operand: int) -> None:
        """Arithmetic and logic on A; the flags have been forgotten."""
        results = self._results(does, operand)
        if does is not Op.CMP and not (operand == Reg.A and does in _KEEPS):
            self._registers[Reg.A] = _byte(results)
        if does in _LOGIC:
            self._flags = Flags(self._flags.known | _CARRY, self._flags.value & ~_CARRY)
        if results is not None and len(results) == 1:
            result = next(iter(results))
            self._know(result, int(not 0 <= result <= 0xFF))

    def _results(self, does: Op, operand: int) -> frozenset[int] | None:
        """What arithmetic on A can give, before it is cut to eight bits; None for anything."""
        if operand == Reg.A and does in _ALWAYS_ZERO:
            return frozenset({0})
        firsts, mask = values_of(self._registers[Reg.A]), self._registers[operand]
        if does is Op.ANA and firsts is None and isinstance(mask, int) and mask != 0xFF:
            return _masked(mask)
        seconds = values_of(mask)
        if firsts is None or seconds is None or len(firsts) * len(seconds) > _MOST_PAIRS:
            return None
        results = {_result(does, first, second) for first in firsts for second in seconds}
        return frozenset(value for value in results if value is not None) or None

    def _rotate(self, does: Op) -> None:
        """Of A; the carry that was there before has to be known if it goes into A."""
        value, before = self._registers[Reg.A], self._state.flags
        through = does in (Op.RAL, Op.RAR)
        if not isinstance(value, int) or (through and not before.known & _CARRY):
            self._registers[Reg.A] = None
            return
        is_left = does in (Op.RLC, Op.RAL)
        out = value >> 7 if is_left else value & 1
        into = before.value & _CARRY if through else out
        self._registers[Reg.A] = value << 1 & 0xFE | into if is_left else value >> 1 | into << 7
        self._flags = Flags(self._flags.known | _CARRY, self._flags.value & ~_CARRY | out)

    def _move_byte(self, cycle: MachineCycle) -> None:
        self._registers[cycle.register] = self._registers[cycle.operand]

    def _count(self, cycle: MachineCycle) -> None:
        values = values_of(self._registers[cycle.register])
        by = 1 if cycle.does is Op.INR else -1
        results = None if values is None else frozenset(value + by for value in values)
        self._registers[cycle.register] = _byte(results)
        if results is not None and len(results) == 1:
            self._know(next(iter(results)))

    def _set_carry(self, _: MachineCycle) -> None:
        self._flags = Flags(self._flags.known | _CARRY, self._flags.value | _CARRY)

    def _add_pair(self, cycle: MachineCycle) -> None:
        hl, other = self._pair(Reg.H), self._pair(cycle.operand)
        if hl is None or other is None:
            self._put_pair(Reg.H, None)
            return
        self._put_pair(Reg.H, hl + other & 0xFFFF)
        out = hl + other >> 16
        self._flags = Flags(self._flags.known | _CARRY, self._flags.value & ~_CARRY | out)

    def _complement(self, _: MachineCycle) -> None:
        values = values_of(self._registers[Reg.A])
        inverted = None if values is None else frozenset(value ^ 0xFF for value in values)
        self._registers[Reg.A] = _byte(inverted)

    def _exchange(self, _: MachineCycle) -> None:
        de = self._registers[Reg.D], self._registers[Reg.E]
        self._copy_pair(Reg.D, Reg.H)
        self._registers[Reg.H], self._registers[Reg.L] = de

    def _offset(self, cycle: MachineCycle) -> None:
        base = self._pair(Reg.H) if cycle.does is Op.HL_PLUS_Z else self._sp
        z = self._registers[Reg.Z]
        known = base is not None and isinstance(z, int)
        self._put_pair(Reg.D, (base + z) & 0xFFFF if known else None)  # type: ignore[operator]

    def _restart(self, cycle: MachineCycle) -> None:
        self._target = (cycle.operand >> 8, cycle.operand & 0xFF)

    def _jump(self, cycle: MachineCycle) -> None:
        high = Reg.H if cycle.does is Op.HL_TO_PC else Reg.W
        self._target = (self._registers[high], self._registers[_LOW[high]])

    def _enable(self, cycle: MachineCycle) -> None:
        self._ie = IE.ON if cycle.does is Op.EI else IE.OFF

    def _sim(self, _: MachineCycle) -> None:
        self._mask = self._registers[Reg.A]


_PLAIN: dict[Op, Callable[[_Execution, MachineCycle], None]] = {
    Op.MOVE: _Execution._move_byte,
    Op.INR: _Execution._count,
    Op.DCR: _Execution._count,
    Op.INX: lambda it, cycle: it._step(cycle.operand, 1),
    Op.DCX: lambda it, cycle: it._step(cycle.operand, -1),
    Op.DAD: _Execution._add_pair,
    Op.STC: _Execution._set_carry,
    Op.CMA: _Execution._complement,
    Op.JUMP: _Execution._jump,
    Op.HL_TO_PC: _Execution._jump,
    Op.RESTART: _Execution._restart,
    Op.HL_TO_SP: lambda it, _: it._load_sp(it._pair(Reg.H)),
    Op.WZ_TO_SP: lambda it, _: it._load_sp(it._pair(Reg.W)),
    Op.WZ_TO_HL: lambda it, _: it._copy_pair(Reg.H, Reg.W),
    Op.DE_TO_WZ: lambda it, _: it._copy_pair(Reg.W, Reg.D),
    Op.XCHG: _Execution._exchange,
    Op.DSUB: lambda it, _: it._put_pair(Reg.H, None),
    Op.ARHL: lambda it, _: it._put_pair(Reg.H, None),
    Op.RDEL: lambda it, _: it._put_pair(Reg.D, None),
    Op.HL_PLUS_Z: _Execution._offset,
    Op.SP_PLUS_Z: _Execution._offset,
    Op.EI: _Execution._enable,
    Op.DI: _Execution._enable,
    Op.SIM: _Execution._sim,
}
"""What is done beside arithmetic."""


def _masked(mask: int) -> frozenset[int]:
    """What has no bit beside those of a mask."""
    return frozenset(value for value in range(0x100) if not value & ~mask)


def _byte(results: frozenset[int] | None) -> Byte:
    """Results cut to eight bits; None if they can be anything."""
    return None if results is None else one_of(frozenset(value & 0xFF for value in results))


def _result(does: Op, one: int, other: int) -> int | None:
    """Before it is cut to eight bits; None where the carry, which may not be known, counts."""
    values = {
        Op.ADD: one + other,
        Op.SUB: one - other,
        Op.CMP: one - other,
        Op.ANA: one & other,
        Op.XRA: one ^ other,
        Op.ORA: one | other,
    }
    return values.get(does)
