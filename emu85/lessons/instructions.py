"""One instruction on the board slate, with registers that make it do something sensible."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from emu85.bus.cycles import Cycle
from emu85.firmware import Image, Segment, disassemble
from emu85.isa import INSTRUCTIONS, Instruction, Op, Operand
from emu85.machine import Machine

BOARD = "slate"
_CODE = (0x0100, 0x0700)
"""Where the instruction stands, and where jumps go to: in the program EPROM."""
_DATA = (0x8000, 0x8700)
"""Where pairs point: in the work RAM, below the stack."""
_STACK = (0x8790, 0x87F0)
_LAMPS = 0x40
_TRACE = 64


@dataclass(frozen=True, slots=True)
class Placed:
    """An instruction in memory and what the registers hold before it.

    Attributes:
        text: as assembly.
        address: of its opcode.
    """

    instruction: Instruction
    code: bytes
    address: int
    a: int
    f: int
    bc: int
    de: int
    hl: int
    sp: int

    @property
    def text(self) -> str:
        """As the assembler takes it."""
        return disassemble(lambda at: self.code[at - self.address], self.address).text

    def machine(self) -> Machine:
        """A machine about to fetch the instruction."""
        machine = Machine.from_board(BOARD, trace=_TRACE)
        machine.load(Image((Segment(self.address, self.code),)))
        registers = machine.registers
        registers.a, registers.f = self.a, self.f
        registers.bc, registers.de, registers.hl = self.bc, self.de, self.hl
        registers.sp, registers.pc = self.sp, self.address
        return machine


def any_instruction(random: Random) -> Placed:
    """A specified instruction; each mnemonic is as likely as any other."""
    mnemonics = sorted({one.mnemonic for one in INSTRUCTIONS if _is_taught(one)})
    mnemonic = random.choice(mnemonics)
    one = random.choice([each for each in INSTRUCTIONS if each.mnemonic == mnemonic])
    return Placed(
        instruction=one,
        code=bytes([one.opcode, *_operand(one, random)]),
        address=random.randrange(*_CODE),
        a=random.randrange(256),
        f=random.randrange(256),
        bc=random.randrange(*_DATA),
        de=random.randrange(*_DATA),
        hl=random.randrange(*_DATA),
        sp=random.randrange(*_STACK) & ~1,
    )


def _is_taught(one: Instruction) -> bool:
    """Specified, and over when its machine cycles are: a halt is not."""
    return one.specified and all(cycle.does is not Op.HALT for cycle in one.cycles)


def _operand(one: Instruction, random: Random) -> bytes:
    kind = next((word for word in one.operands if isinstance(word, Operand)), None)
    if kind is None:
        return b""
    if kind is Operand.PORT:
        return bytes([_LAMPS])
    if kind is Operand.D8:
        return bytes([random.randrange(256)])
    jumps = kind is Operand.ADDR and not any(
        cycle.kind in (Cycle.MR, Cycle.MW) and cycle.address.name.startswith("WZ")
        for cycle in one.cycles
    )
    return random.randrange(*(_CODE if jumps else _DATA)).to_bytes(2, "little")
