"""The CPU's registers and flags by name, over the state vector."""

from __future__ import annotations

from typing import Any

from emu85.cpu.layout import State
from emu85.isa import Reg

FLAGS: dict[str, int] = {"s": 7, "z": 6, "k": 5, "ac": 4, "p": 2, "v": 1, "cy": 0}
"""Bit numbers of the flags in F, highest first."""


def _checked(name: str, value: int, bits: int) -> int:
    if not 0 <= value < 1 << bits:
        raise ValueError(f"{name} takes 0 to {(1 << bits) - 1:X} hexadecimal, not {value:X}")
    return value


class _Byte:
    """An 8-bit register."""

    def __init__(self, register: Reg) -> None:
        self._cell = State.REGISTERS + register
        self._name = register.name

    def __get__(self, owner: Registers, _: Any = None) -> int:
        return owner.state[self._cell]

    def __set__(self, owner: Registers, value: int) -> None:
        # Bit 3 of F has no flip-flop.
        mask = 0xF7 if self._name == "F" else 0xFF
        owner.state[self._cell] = _checked(self._name, value, 8) & mask


class _Pair:
    """A register pair, high register first."""

    def __init__(self, high: Reg, low: Reg) -> None:
        self._high = _Byte(high)
        self._low = _Byte(low)
        self._name = high.name + low.name

    def __get__(self, owner: Registers, _: Any = None) -> int:
        return self._high.__get__(owner) << 8 | self._low.__get__(owner)

    def __set__(self, owner: Registers, value: int) -> None:
        _checked(self._name, value, 16)
        self._high.__set__(owner, value >> 8)
        self._low.__set__(owner, value & 0xFF)


class _Flag:
    """One flag, 0 or 1."""

    def __init__(self, name: str) -> None:
        self._bit = FLAGS[name]
        self._name = name.upper()

    def __get__(self, owner: Registers, _: Any = None) -> int:
        return owner.f >> self._bit & 1

    def __set__(self, owner: Registers, value: int) -> None:
        bit = 1 << self._bit
        owner.f = owner.f & ~bit | _checked(self._name, value, 1) * bit


class _Cell:
    """A cell of the state vector of so many bits."""

    def __init__(self, cell: State, bits: int) -> None:
        self._cell = cell
        self._bits = bits

    def __get__(self, owner: Registers, _: Any = None) -> int:
        return owner.state[self._cell]

    def __set__(self, owner: Registers, value: int) -> None:
        owner.state[self._cell] = _checked(self._cell.name, value, self._bits)


class Registers:
    """Registers, flags and interrupt state; all can be set while the machine rests.

    Bytes ``a f b c d e h l``; pairs ``bc de hl psw``; ``sp``; ``pc``; flags
    ``s z k ac p v cy``; ``ie`` (interrupt enable); ``masks`` (M7.5 M6.5 M5.5 in
    bits 2-0); ``rst75`` (its latch).  Setting a value out of range raises
    ValueError.
    """

    __slots__ = ("state",)

    a, f = _Byte(Reg.A), _Byte(Reg.F)
    b, c = _Byte(Reg.B), _Byte(Reg.C)
    d, e = _Byte(Reg.D), _Byte(Reg.E)
    h, l = _Byte(Reg.H), _Byte(Reg.L)  # noqa: E741 - the register's name
    bc, de = _Pair(Reg.B, Reg.C), _Pair(Reg.D, Reg.E)
    hl, psw = _Pair(Reg.H, Reg.L), _Pair(Reg.A, Reg.F)
    s, z, k, ac = _Flag("s"), _Flag("z"), _Flag("k"), _Flag("ac")
    p, v, cy = _Flag("p"), _Flag("v"), _Flag("cy")
    sp = _Cell(State.SP, 16)
    ie = _Cell(State.IE, 1)
    masks = _Cell(State.MASKS, 3)
    rst75 = _Cell(State.LATCH75, 1)

    def __init__(self, state: memoryview[int]) -> None:
        self.state = state

    def __repr__(self) -> str:
        bytes_ = " ".join(f"{name.upper()} {getattr(self, name):02X}" for name in "abcdehl")
        flags = " ".join(f"{name.upper()} {getattr(self, name)}" for name in FLAGS)
        return f"<{bytes_}  {flags}  SP {self.sp:04X} PC {self.pc:04X} IE {self.ie}>"

    @property
    def pc(self) -> int:
        """Address of the next byte to be fetched.

        Setting it gives up an instruction that is under way and ends a halt.
        """
        return self.state[State.PC]

    @pc.setter
    def pc(self, value: int) -> None:
        self.state[State.PC] = _checked("PC", value, 16)
        self.state[State.ROW] = 0
        self.state[State.HALTED] = 0
        self.state[State.ANSWER] = -1

    @property
    def boundary(self) -> bool:
        """Whether the next machine cycle begins an instruction."""
        return self.state[State.ROW] == 0

    @property
    def halted(self) -> bool:
        """Whether the CPU is in the halt state."""
        return bool(self.state[State.HALTED])

    @property
    def instruction_at(self) -> int:
        """Address of the instruction under way, or of the next one at a boundary."""
        return self.pc if self.boundary else self.state[State.INSTRUCTION]
