"""What is known of the CPU before an instruction, on whatever way it came there.

A byte is known (an ``int``), or one of some values (:class:`Among`), or half of a return
address that the caller left (:class:`Back`), or what a register held before
(:class:`Kept`), or the flags as PUSH PSW stores them (:data:`FLAGS`), or not known (None).
Two ways that meet keep what they agree in, so all that is known holds on every way; that is
what lets a check be sure.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace
from typing import NamedTuple

from emu85.isa import Reg


class Back(NamedTuple):
    """Half of the return address of the routine, ``offset`` bytes after it."""

    offset: int
    is_high: bool


class Among(NamedTuple):
    """One of at least two values, as ANI leaves it."""

    values: frozenset[int]


class Kept(NamedTuple):
    """What a register held when the routine was called."""

    register: int


class Mark(enum.Enum):
    """Bytes that are known by what they are, not by their value."""

    FLAGS = "flags"


FLAGS = Mark.FLAGS
Byte = int | Among | Back | Kept | Mark | None
Registers = tuple[Byte, ...]
"""By ``Reg``, B to Z; the flag register is always :data:`FLAGS`."""

_COUNT = Reg.Z + 1
HELD = frozenset({Reg.B, Reg.C, Reg.D, Reg.E, Reg.H, Reg.L, Reg.A})
"""Registers that a caller can have put something into."""
_DEEPEST = 64
"""Bytes of the stack that are kept track of."""


class Flags(NamedTuple):
    """Bits of the flag register that are known, and their values."""

    known: int = 0
    value: int = 0


_NO_FLAGS = Flags()


class IE(enum.Enum):
    """The interrupt enable flip-flop."""

    OFF = "disabled"
    ON = "enabled"
    EITHER = "not known"


def _unknown() -> Registers:
    return tuple(FLAGS if n == Reg.F else None for n in range(_COUNT))


@dataclass(frozen=True, slots=True)
class State:
    """All of it.

    Attributes:
        registers: by ``Reg``.
        stack: bytes put there since the routine began or SP was loaded, the newest
            last; None if not known.
        taken: bytes taken from below that, which belong to the caller.
        moved: whether SP was loaded in the routine, so that what is below is no
            caller's.
        sp: the stack pointer, or None.
        sp_set: whether it was ever loaded.
        ie: the interrupt enable flip-flop.
        sure: False where only a guess led here.
        flags: those of the flags that are known.
        uneven: where two ways have met, one of them with more on the stack than the other,
            if that is why the stack is not known.
    """

    registers: Registers
    stack: tuple[Byte, ...] | None = ()
    taken: int = 0
    moved: bool = False
    sp: int | None = None
    sp_set: bool = True
    ie: IE = IE.EITHER
    sure: bool = True
    flags: Flags = _NO_FLAGS
    uneven: int | None = None


RETURN = (Back(0, True), Back(0, False))
"""What a call leaves on the stack."""


def at_reset() -> State:
    """After RESET IN: interrupts are disabled, all else is undefined."""
    return State(_unknown(), sp_set=False, ie=IE.OFF)


def called(ie: IE = IE.EITHER) -> State:
    """At the beginning of a routine whose caller is not known."""
    return State(tuple(map(_kept, range(_COUNT), _unknown())), stack=RETURN, ie=ie)


def called_from(caller: State) -> State:
    """At the beginning of a routine; ``caller`` with the return address pushed."""
    kept = tuple(map(_kept, range(_COUNT), caller.registers))
    return replace(caller, registers=kept, stack=RETURN, taken=0, moved=False, uneven=None)


def _kept(register: int, byte: Byte) -> Byte:
    """A register as a routine finds it, by what its caller knew.

    What is half of a return address to the caller, or was kept from its own caller, is
    another one here.
    """
    if register not in HELD:
        return None if isinstance(byte, (Back, Kept)) else byte
    return byte if isinstance(byte, (int, Among)) else Kept(register)


def after_call(caller: State) -> State:
    """After a routine has returned; ``caller`` before the CALL."""
    return replace(caller, registers=_unknown(), ie=IE.EITHER, flags=_NO_FLAGS)


def with_taken(state: State, count: int) -> State:
    """With so many bytes fewer on the stack, those of the caller's included."""
    own = min(count, len(state.stack or ()))
    return replace(
        state,
        stack=None if state.stack is None else state.stack[: len(state.stack) - own],
        taken=state.taken + count - own,
        sp=None if state.sp is None else state.sp + count & 0xFFFF,
    )


def with_left(state: State, left: int) -> State:
    """With so many bytes more on the stack, of which nothing is known."""
    stack = None if state.stack is None else state.stack + (None,) * left
    sp = None if state.sp is None else state.sp - left & 0xFFFF
    return replace(state, stack=None if stack and len(stack) > _DEEPEST else stack, sp=sp)


def anywhere() -> State:
    """Where nothing is known at all."""
    return State(_unknown(), stack=None)


def join(one: State, other: State) -> State:
    """What holds on both ways."""
    if one == other:
        return one
    return State(
        tuple(map(_both, one.registers, other.registers)),
        _stack(one, other),
        one.taken,
        one.moved or other.moved,
        one.sp if one.sp == other.sp else None,
        one.sp_set and other.sp_set,
        one.ie if one.ie is other.ie else IE.EITHER,
        one.sure or other.sure,
        _flags(one.flags, other.flags),
        other.uneven if one.uneven is None else one.uneven,
    )


def meet(one: State, other: State, at: int) -> State:
    """The same where the other way comes from before ``at``, so that it is no loop's."""
    both = join(one, other)
    if one.stack is None or other.stack is None or len(one.stack) == len(other.stack):
        return both
    return replace(both, uneven=at if both.uneven is None else both.uneven)


def known_address(target: tuple[Byte, Byte]) -> int | None:
    """The address that two bytes are, high byte first, or None if they are not known."""
    high, low = target
    return high << 8 | low if isinstance(high, int) and isinstance(low, int) else None


def values_of(byte: Byte) -> frozenset[int] | None:
    """What a byte can be, or None if it can be anything."""
    if isinstance(byte, int):
        return frozenset({byte})
    return byte.values if isinstance(byte, Among) else None


def one_of(values: frozenset[int]) -> Byte:
    """A byte that is one of some values, at least one."""
    return next(iter(values)) if len(values) == 1 else Among(values)


def return_offset(target: tuple[Byte, Byte]) -> int | None:
    """How far after the CALL a return address goes, or None if it is none."""
    high, low = target
    if isinstance(high, Back) and isinstance(low, Back) and high.offset == low.offset:
        return high.offset if high.is_high and not low.is_high else None
    return None


def _both(one: Byte, other: Byte) -> Byte:
    return one if one == other else None


def _flags(one: Flags, other: Flags) -> Flags:
    agreed = one.known & other.known & ~(one.value ^ other.value)
    return Flags(agreed, one.value & agreed)


def _stack(one: State, other: State) -> tuple[Byte, ...] | None:
    if one.stack is None or other.stack is None:
        return None
    if len(one.stack) != len(other.stack) or len(one.stack) > _DEEPEST:
        return None
    if one.taken != other.taken or one.moved != other.moved:
        return None
    return tuple(map(_both, one.stack, other.stack))
