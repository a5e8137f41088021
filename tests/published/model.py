"""A second 8085, written to be read: what each instruction does, and no timing.

Transcribed from the instruction descriptions of the MCS-80/85 Family User's
Manual (October 1979) and, for the unspecified ten, from Dehnhardt & Sorensen
(Electronics, 18 January 1979); values from memory.  It shares nothing with the
emulator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from . import flags as fl
from .opcodes import OPCODES, Opcode

PAIR_OF = {"B": "BC", "D": "DE", "H": "HL", "SP": "SP"}
HALVES = {"BC": ("B", "C"), "DE": ("D", "E"), "HL": ("H", "L"), "PSW": ("A", "F")}


@dataclass
class Processor:
    """Registers, 64 K of RAM and 256 ports.

    ``memory`` and ``ports_in`` are read; ``ports_out`` keeps what OUT wrote.
    ``d8`` and ``nn`` are the bytes after the opcode being executed.  ``rst75`` is
    the latch; ``rst65``, ``rst55`` and ``sid`` are the levels of the inputs.
    """

    A: int = 0
    F: int = 0
    B: int = 0
    C: int = 0
    D: int = 0
    E: int = 0
    H: int = 0
    L: int = 0
    SP: int = 0
    PC: int = 0
    d8: int = 0
    nn: int = 0
    memory: bytearray = field(default_factory=lambda: bytearray(0x10000))
    ports_in: bytearray = field(default_factory=lambda: bytearray(0x100))
    ports_out: dict[int, int] = field(default_factory=dict)
    halted: bool = False
    ie: int = 0
    mask75: int = 1
    mask65: int = 1
    mask55: int = 1
    rst75: int = 0
    rst65: int = 0
    rst55: int = 0
    sid: int = 0
    sod: int = 0

    def pair(self, name: str) -> int:
        """BC, DE, HL, SP, PC or PSW as 16 bits."""
        if name in ("SP", "PC"):
            return int(getattr(self, name))
        high, low = HALVES[name]
        return int(getattr(self, high)) << 8 | int(getattr(self, low))

    def set_pair(self, name: str, value: int) -> None:
        """Put 16 bits, wrapping, into BC, DE, HL, SP, PC or PSW."""
        value &= 0xFFFF
        if name in ("SP", "PC"):
            setattr(self, name, value)
            return
        high, low = HALVES[name]
        setattr(self, high, value >> 8)
        setattr(self, low, value & 0xFF)

    def read(self, address: int) -> int:
        """A byte of memory; addresses wrap at 64 K."""
        return self.memory[address & 0xFFFF]

    def write(self, address: int, value: int) -> None:
        """Put a byte into memory; addresses wrap at 64 K."""
        self.memory[address & 0xFFFF] = value

    def get(self, operand: str) -> int:
        """A register, the byte at HL, or the second byte of the instruction."""
        if operand == "M":
            return self.read(self.pair("HL"))
        if operand == "d8":
            return self.d8
        return int(getattr(self, operand))

    def put(self, operand: str, value: int) -> None:
        """Into a register or to memory at HL."""
        if operand == "M":
            self.write(self.pair("HL"), value)
        else:
            setattr(self, operand, value)

    def push(self, word: int) -> None:
        """High byte at SP - 1, low byte at SP - 2, SP down by two."""
        self.write(self.SP - 1, word >> 8)
        self.write(self.SP - 2, word & 0xFF)
        self.set_pair("SP", self.SP - 2)

    def pop(self) -> int:
        """Low byte from SP, high byte from SP + 1, SP up by two."""
        word = self.read(self.SP) | self.read(self.SP + 1) << 8
        self.set_pair("SP", self.SP + 2)
        return word

    def flag(self, bit: int) -> int:
        """A flag, 0 or 1."""
        return int(self.F & bit != 0)

    def set_flag(self, bit: int, value: bool | int) -> None:
        """Change one flag."""
        self.F = self.F & ~bit | (bit if value else 0)

    def run_one(self) -> Opcode:
        """Execute the instruction at PC."""
        opcode = OPCODES[self.read(self.PC)]
        self.d8 = self.read(self.PC + 1)
        self.nn = self.d8 | self.read(self.PC + 2) << 8
        self.set_pair("PC", self.PC + opcode.size)
        EFFECTS[opcode.mnemonic](self, *opcode.operands)
        return opcode

    def condition(self, name: str) -> bool:
        """Whether a condition of jump, call or return holds."""
        return {
            "NZ": not self.flag(fl.Z),
            "Z": bool(self.flag(fl.Z)),
            "NC": not self.flag(fl.CY),
            "C": bool(self.flag(fl.CY)),
            "PO": not self.flag(fl.P),
            "PE": bool(self.flag(fl.P)),
            "P": not self.flag(fl.S),
            "M": bool(self.flag(fl.S)),
            "NK": not self.flag(fl.K),
            "K": bool(self.flag(fl.K)),
            "V": bool(self.flag(fl.V)),
            "": True,
        }[name]


Effect = Callable[..., None]


# Data transfer group


def mov(cpu: Processor, to: str, source: str) -> None:
    cpu.put(to, cpu.get(source))


def lxi(cpu: Processor, pair: str, _: str) -> None:
    cpu.set_pair(PAIR_OF[pair], cpu.nn)


def lda(cpu: Processor, _: str) -> None:
    cpu.A = cpu.read(cpu.nn)


def sta(cpu: Processor, _: str) -> None:
    cpu.write(cpu.nn, cpu.A)


def lhld(cpu: Processor, _: str) -> None:
    cpu.L = cpu.read(cpu.nn)
    cpu.H = cpu.read(cpu.nn + 1)


def shld(cpu: Processor, _: str) -> None:
    cpu.write(cpu.nn, cpu.L)
    cpu.write(cpu.nn + 1, cpu.H)


def ldax(cpu: Processor, pair: str) -> None:
    cpu.A = cpu.read(cpu.pair(PAIR_OF[pair]))


def stax(cpu: Processor, pair: str) -> None:
    cpu.write(cpu.pair(PAIR_OF[pair]), cpu.A)


def xchg(cpu: Processor) -> None:
    cpu.H, cpu.L, cpu.D, cpu.E = cpu.D, cpu.E, cpu.H, cpu.L


# Arithmetic group


def _into_a(cpu: Processor, answer: tuple[int, int]) -> None:
    cpu.A, cpu.F = int(answer[0]), int(answer[1])


def add(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.add(cpu.A, cpu.get(operand), 0))


def adc(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.add(cpu.A, cpu.get(operand), cpu.flag(fl.CY)))


def sub(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.subtract(cpu.A, cpu.get(operand), 0))


def sbb(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.subtract(cpu.A, cpu.get(operand), cpu.flag(fl.CY)))


def cmp(cpu: Processor, operand: str) -> None:
    cpu.F = int(fl.subtract(cpu.A, cpu.get(operand), 0)[1])


def inr(cpu: Processor, operand: str) -> None:
    result, cpu.F = (int(n) for n in fl.increment(cpu.get(operand), cpu.flag(fl.CY)))
    cpu.put(operand, result)


def dcr(cpu: Processor, operand: str) -> None:
    result, cpu.F = (int(n) for n in fl.decrement(cpu.get(operand), cpu.flag(fl.CY)))
    cpu.put(operand, result)


def inx(cpu: Processor, pair: str) -> None:
    """No flag but K, set when the pair passes from FFFF to 0000 (Dehnhardt & Sorensen)."""
    name = PAIR_OF[pair]
    cpu.set_flag(fl.K, cpu.pair(name) == 0xFFFF)
    cpu.set_pair(name, cpu.pair(name) + 1)


def dcx(cpu: Processor, pair: str) -> None:
    """No flag but K, set when the pair passes from 0000 to FFFF (Dehnhardt & Sorensen)."""
    name = PAIR_OF[pair]
    cpu.set_flag(fl.K, cpu.pair(name) == 0)
    cpu.set_pair(name, cpu.pair(name) - 1)


def dad(cpu: Processor, pair: str) -> None:
    word, flags = fl.double_add(cpu.pair("HL"), cpu.pair(PAIR_OF[pair]), cpu.F)
    cpu.set_pair("HL", word)
    cpu.F = int(flags)


def daa(cpu: Processor) -> None:
    cpu.A, cpu.F = fl.decimal_adjust(cpu.A, cpu.F)


# Logical group


def ana(cpu: Processor, operand: str) -> None:
    """AC is set, always, on the 8085 (the 8080 differs)."""
    _into_a(cpu, fl.logic(cpu.A & cpu.get(operand), ac=1))


def xra(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.logic(cpu.A ^ cpu.get(operand), ac=0))


def ora(cpu: Processor, operand: str) -> None:
    _into_a(cpu, fl.logic(cpu.A | cpu.get(operand), ac=0))


def rlc(cpu: Processor) -> None:
    top = cpu.A >> 7
    cpu.A = cpu.A << 1 & 0xFF | top
    cpu.set_flag(fl.CY, top)


def rrc(cpu: Processor) -> None:
    bottom = cpu.A & 1
    cpu.A = cpu.A >> 1 | bottom << 7
    cpu.set_flag(fl.CY, bottom)


def ral(cpu: Processor) -> None:
    top = cpu.A >> 7
    cpu.A = cpu.A << 1 & 0xFF | cpu.flag(fl.CY)
    cpu.set_flag(fl.CY, top)


def rar(cpu: Processor) -> None:
    bottom = cpu.A & 1
    cpu.A = cpu.A >> 1 | cpu.flag(fl.CY) << 7
    cpu.set_flag(fl.CY, bottom)


def cma(cpu: Processor) -> None:
    cpu.A ^= 0xFF


def cmc(cpu: Processor) -> None:
    cpu.set_flag(fl.CY, not cpu.flag(fl.CY))


def stc(cpu: Processor) -> None:
    cpu.set_flag(fl.CY, 1)


# Branch group


def jump_if(name: str) -> Effect:
    def jump(cpu: Processor, _: str) -> None:
        if cpu.condition(name):
            cpu.PC = cpu.nn

    return jump


def call_if(name: str) -> Effect:
    def call(cpu: Processor, _: str) -> None:
        if cpu.condition(name):
            cpu.push(cpu.PC)
            cpu.PC = cpu.nn

    return call


def return_if(name: str) -> Effect:
    def ret(cpu: Processor) -> None:
        if cpu.condition(name):
            cpu.PC = cpu.pop()

    return ret


def rst(cpu: Processor, number: str) -> None:
    cpu.push(cpu.PC)
    cpu.PC = 8 * int(number)


def pchl(cpu: Processor) -> None:
    cpu.PC = cpu.pair("HL")


# Stack, I/O and machine control group


def _stacked(name: str) -> str:
    return "PSW" if name == "PSW" else PAIR_OF[name]


def push(cpu: Processor, name: str) -> None:
    cpu.push(cpu.pair(_stacked(name)))


def pop(cpu: Processor, name: str) -> None:
    cpu.set_pair(_stacked(name), cpu.pop())
    cpu.F &= fl.ALL


def xthl(cpu: Processor) -> None:
    word = cpu.pop()
    cpu.push(cpu.pair("HL"))
    cpu.set_pair("HL", word)


def sphl(cpu: Processor) -> None:
    cpu.SP = cpu.pair("HL")


def port_in(cpu: Processor, _: str) -> None:
    cpu.A = cpu.ports_in[cpu.d8]


def port_out(cpu: Processor, _: str) -> None:
    cpu.ports_out[cpu.d8] = cpu.A


def ei(cpu: Processor) -> None:
    cpu.ie = 1


def di(cpu: Processor) -> None:
    cpu.ie = 0


def hlt(cpu: Processor) -> None:
    cpu.halted = True


def nop(cpu: Processor) -> None:
    pass


def rim(cpu: Processor) -> None:
    """SID, I7.5, I6.5, I5.5, IE, M7.5, M6.5, M5.5 from bit 7 to bit 0."""
    cpu.A = (
        0x80 * cpu.sid
        + 0x40 * cpu.rst75
        + 0x20 * cpu.rst65
        + 0x10 * cpu.rst55
        + 0x08 * cpu.ie
        + 0x04 * cpu.mask75
        + 0x02 * cpu.mask65
        + 0x01 * cpu.mask55
    )


def sim(cpu: Processor) -> None:
    """SOD, SOD enable, unused, reset 7.5, mask set enable, M7.5, M6.5, M5.5."""
    if cpu.A & 0x40:
        cpu.sod = cpu.A >> 7
    if cpu.A & 0x10:
        cpu.rst75 = 0
    if cpu.A & 0x08:
        cpu.mask75 = cpu.A >> 2 & 1
        cpu.mask65 = cpu.A >> 1 & 1
        cpu.mask55 = cpu.A & 1


# The ten unspecified opcodes


def dsub(cpu: Processor) -> None:
    word, flags = fl.double_subtract(cpu.pair("HL"), cpu.pair("BC"))
    cpu.set_pair("HL", word)
    cpu.F = int(flags)


def arhl(cpu: Processor) -> None:
    """HL right by one, the sign kept, bit 0 into CY; no other flag."""
    word = cpu.pair("HL")
    cpu.set_flag(fl.CY, word & 1)
    cpu.set_pair("HL", word >> 1 | word & 0x8000)


def rdel(cpu: Processor) -> None:
    """DE left by one through CY; V set when the sign of DE changes; no other flag."""
    word = cpu.pair("DE")
    turned = word << 1 & 0xFFFF | cpu.flag(fl.CY)
    cpu.set_flag(fl.CY, word >> 15)
    cpu.set_flag(fl.V, (word ^ turned) >> 15)
    cpu.set_pair("DE", turned)


def ldhi(cpu: Processor, _: str) -> None:
    cpu.set_pair("DE", cpu.pair("HL") + cpu.d8)


def ldsi(cpu: Processor, _: str) -> None:
    cpu.set_pair("DE", cpu.SP + cpu.d8)


def rstv(cpu: Processor) -> None:
    """A restart to 0040 on overflow."""
    if cpu.flag(fl.V):
        cpu.push(cpu.PC)
        cpu.PC = 0x40


def shlx(cpu: Processor) -> None:
    cpu.write(cpu.pair("DE"), cpu.L)
    cpu.write(cpu.pair("DE") + 1, cpu.H)


def lhlx(cpu: Processor) -> None:
    cpu.L = cpu.read(cpu.pair("DE"))
    cpu.H = cpu.read(cpu.pair("DE") + 1)


CONDITIONS = ("NZ", "Z", "NC", "C", "PO", "PE", "P", "M")

EFFECTS: dict[str, Effect] = {
    "MOV": mov,
    "MVI": mov,
    "LXI": lxi,
    "LDA": lda,
    "STA": sta,
    "LHLD": lhld,
    "SHLD": shld,
    "LDAX": ldax,
    "STAX": stax,
    "XCHG": xchg,
    "ADD": add,
    "ADI": add,
    "ADC": adc,
    "ACI": adc,
    "SUB": sub,
    "SUI": sub,
    "SBB": sbb,
    "SBI": sbb,
    "CMP": cmp,
    "CPI": cmp,
    "INR": inr,
    "DCR": dcr,
    "INX": inx,
    "DCX": dcx,
    "DAD": dad,
    "DAA": daa,
    "ANA": ana,
    "ANI": ana,
    "XRA": xra,
    "XRI": xra,
    "ORA": ora,
    "ORI": ora,
    "RLC": rlc,
    "RRC": rrc,
    "RAL": ral,
    "RAR": rar,
    "CMA": cma,
    "CMC": cmc,
    "STC": stc,
    "JMP": jump_if(""),
    "CALL": call_if(""),
    "RET": return_if(""),
    **{f"J{name}": jump_if(name) for name in (*CONDITIONS, "NK", "K")},
    **{f"C{name}": call_if(name) for name in CONDITIONS},
    **{f"R{name}": return_if(name) for name in CONDITIONS},
    "RST": rst,
    "PCHL": pchl,
    "PUSH": push,
    "POP": pop,
    "XTHL": xthl,
    "SPHL": sphl,
    "IN": port_in,
    "OUT": port_out,
    "EI": ei,
    "DI": di,
    "HLT": hlt,
    "NOP": nop,
    "RIM": rim,
    "SIM": sim,
    "DSUB": dsub,
    "ARHL": arhl,
    "RDEL": rdel,
    "LDHI": ldhi,
    "LDSI": ldsi,
    "RSTV": rstv,
    "SHLX": shlx,
    "LHLX": lhlx,
}
