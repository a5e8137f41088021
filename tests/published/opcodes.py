"""The 8085's instruction set as its user's manual lays it out, typed by hand.

Sources (each a value from memory):

* Intel MCS-80/85 Family User's Manual, October 1979: instruction set chapter
  (bit patterns, bytes, states) and the instruction set summary of machine
  cycles, whose letters are used here:

  F  four T-state opcode fetch        S  six T-state opcode fetch
  R  memory read                      W  memory write
  I  I/O read                         O  I/O write
  B  bus idle

* Dehnhardt & Sorensen, 'Unspecified 8085 op codes enhance programming',
  Electronics, 18 January 1979, for the ten opcodes of the last group.  That
  article gives bytes, states and effect; the machine cycles in which they are
  spent are the project's choice.

Addresses stand in brackets, written data after ``=``.  Data of a read cycle is
whatever stands at the address.  ``port`` is the port number on both halves of
the address bus.  ``ret`` is the address of the following instruction, ``M`` the
byte read at HL, ``d8`` the second byte, ``nn`` bytes three and two.

``/`` parts what happens when a condition holds from what happens when not.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

SUMMARY = """
# bits    form         bytes  T      machine cycles

# Data transfer group
01dddsss  MOV {d},{s}    1    4      F
01110sss  MOV M,{s}      1    7      F W[HL]={s}
01ddd110  MOV {d},M      1    7      F R[HL]
00ddd110  MVI {d},d8     2    7      F R[PC+1]
00110110  MVI M,d8       2    10     F R[PC+1] W[HL]=d8
00pp0001  LXI {p},d16    3    10     F R[PC+1] R[PC+2]
00111010  LDA nn         3    13     F R[PC+1] R[PC+2] R[nn]
00110010  STA nn         3    13     F R[PC+1] R[PC+2] W[nn]=A
00101010  LHLD nn        3    16     F R[PC+1] R[PC+2] R[nn] R[nn+1]
00100010  SHLD nn        3    16     F R[PC+1] R[PC+2] W[nn]=L W[nn+1]=H
00001010  LDAX B         1    7      F R[BC]
00011010  LDAX D         1    7      F R[DE]
00000010  STAX B         1    7      F W[BC]=A
00010010  STAX D         1    7      F W[DE]=A
11101011  XCHG           1    4      F

# Arithmetic group
10000sss  ADD {s}        1    4      F
10000110  ADD M          1    7      F R[HL]
11000110  ADI d8         2    7      F R[PC+1]
10001sss  ADC {s}        1    4      F
10001110  ADC M          1    7      F R[HL]
11001110  ACI d8         2    7      F R[PC+1]
10010sss  SUB {s}        1    4      F
10010110  SUB M          1    7      F R[HL]
11010110  SUI d8         2    7      F R[PC+1]
10011sss  SBB {s}        1    4      F
10011110  SBB M          1    7      F R[HL]
11011110  SBI d8         2    7      F R[PC+1]
00ddd100  INR {d}        1    4      F
00110100  INR M          1    10     F R[HL] W[HL]=M+1
00ddd101  DCR {d}        1    4      F
00110101  DCR M          1    10     F R[HL] W[HL]=M-1
00pp0011  INX {p}        1    6      S
00pp1011  DCX {p}        1    6      S
00pp1001  DAD {p}        1    10     F B B
00100111  DAA            1    4      F

# Logical group
10100sss  ANA {s}        1    4      F
10100110  ANA M          1    7      F R[HL]
11100110  ANI d8         2    7      F R[PC+1]
10101sss  XRA {s}        1    4      F
10101110  XRA M          1    7      F R[HL]
11101110  XRI d8         2    7      F R[PC+1]
10110sss  ORA {s}        1    4      F
10110110  ORA M          1    7      F R[HL]
11110110  ORI d8         2    7      F R[PC+1]
10111sss  CMP {s}        1    4      F
10111110  CMP M          1    7      F R[HL]
11111110  CPI d8         2    7      F R[PC+1]
00000111  RLC            1    4      F
00001111  RRC            1    4      F
00010111  RAL            1    4      F
00011111  RAR            1    4      F
00101111  CMA            1    4      F
00111111  CMC            1    4      F
00110111  STC            1    4      F

# Branch group
11000011  JMP nn         3    10     F R[PC+1] R[PC+2]
11ccc010  J{c} nn        3    10/7   F R[PC+1] R[PC+2] / F R[PC+1]
11001101  CALL nn        3    18     S R[PC+1] R[PC+2] W[SP-1]=ret.hi W[SP-2]=ret.lo
11ccc100  C{c} nn        3    18/9   S R[PC+1] R[PC+2] W[SP-1]=ret.hi W[SP-2]=ret.lo / S R[PC+1]
11001001  RET            1    10     F R[SP] R[SP+1]
11ccc000  R{c}           1    12/6   S R[SP] R[SP+1] / S
11nnn111  RST {n}        1    12     S W[SP-1]=ret.hi W[SP-2]=ret.lo
11101001  PCHL           1    6      S

# Stack, I/O and machine control group
11qq0101  PUSH {q}       1    12     S W[SP-1]={q}.hi W[SP-2]={q}.lo
11qq0001  POP {q}        1    10     F R[SP] R[SP+1]
11100011  XTHL           1    16     F R[SP] R[SP+1] W[SP+1]=H W[SP]=L
11111001  SPHL           1    6      S
11011011  IN port        2    10     F R[PC+1] I[port]
11010011  OUT port       2    10     F R[PC+1] O[port]=A
11111011  EI             1    4      F
11110011  DI             1    4      F
01110110  HLT            1    5      F B
00000000  NOP            1    4      F
00100000  RIM            1    4      F
00110000  SIM            1    4      F

# The ten unspecified opcodes
00001000  DSUB           1    10     F B B
00010000  ARHL           1    7      F B
00011000  RDEL           1    10     F B B
00101000  LDHI d8        2    10     F R[PC+1] B
00111000  LDSI d8        2    10     F R[PC+1] B
11001011  RSTV           1    12/6   S W[SP-1]=ret.hi W[SP-2]=ret.lo / S
11011001  SHLX           1    10     F W[DE]=L W[DE+1]=H
11011101  JNK nn         3    10/7   F R[PC+1] R[PC+2] / F R[PC+1]
11101101  LHLX           1    10     F R[DE] R[DE+1]
11111101  JK nn          3    10/7   F R[PC+1] R[PC+2] / F R[PC+1]
"""

REGISTERS = {"000": "B", "001": "C", "010": "D", "011": "E", "100": "H", "101": "L", "111": "A"}
"""Codes of the manual's DDD and SSS fields; 110 is memory and has its own lines above."""

PAIRS = {"00": "B", "01": "D", "10": "H", "11": "SP"}
STACKED = {"00": "B", "01": "D", "10": "H", "11": "PSW"}
CONDITIONS = {
    "000": "NZ",
    "001": "Z",
    "010": "NC",
    "011": "C",
    "100": "PO",
    "101": "PE",
    "110": "P",
    "111": "M",
}
RESTARTS = {f"{n:03b}": str(n) for n in range(8)}

FIELDS = {
    "ddd": ("d", REGISTERS),
    "sss": ("s", REGISTERS),
    "pp": ("p", PAIRS),
    "qq": ("q", STACKED),
    "ccc": ("c", CONDITIONS),
    "nnn": ("n", RESTARTS),
}

LENGTH = {"F": 4, "S": 6, "R": 3, "W": 3, "I": 3, "O": 3, "B": 3}
"""T-states of each machine cycle; the one of HLT is the exception (see :data:`HLT`)."""

HLT = 0x76
"""Counts five T-states: after the fetch the CPU goes into the halt state, of which the
manual's summary counts the first T-state."""


AFFECTED = {
    "S Z K AC P V CY": "ADD ADI ADC ACI SUB SUI SBB SBI ANA ANI XRA XRI ORA ORI CMP CPI DAA DSUB",
    "S Z K AC P V": "INR DCR",
    "K": "INX DCX",
    "V CY": "DAD RDEL",
    "CY": "RLC RRC RAL RAR STC CMC ARHL",
}
"""Flags that instructions change (flags lines of the manual's descriptions; V and K by
Dehnhardt & Sorensen, but that logic and DAA define V and K is a choice).  POP PSW
loads all; no other instruction changes any."""


@dataclass(frozen=True, slots=True)
class Opcode:
    """One line of the summary for one opcode.

    Attributes:
        mnemonic: ``"MOV"``; the condition is part of it (``"JNZ"``).
        operands: as written, e.g. ``("A", "M")``.
        size: bytes.
        t: T-states, when a condition holds.
        cycles: machine cycles, e.g. ``("F", "R[PC+1]")``.
        t_not: T-states when the condition does not hold; ``t`` if there is none.
        cycles_not: machine cycles then.
    """

    code: int
    mnemonic: str
    operands: tuple[str, ...]
    size: int
    t: int
    cycles: tuple[str, ...]
    t_not: int
    cycles_not: tuple[str, ...]

    @property
    def conditional(self) -> bool:
        """Whether the opcode has two paths."""
        return self.cycles != self.cycles_not

    def __str__(self) -> str:
        return f"{self.code:02X} {self.mnemonic} {','.join(self.operands)}".strip()


def _expand(pattern: str, rest: str) -> list[tuple[int, str]]:
    """Every opcode of a bit pattern, with the fields of its line filled in."""
    for field, (letter, codes) in FIELDS.items():
        if field in pattern:
            return [
                pair
                for code, name in codes.items()
                for pair in _expand(
                    pattern.replace(field, code), rest.replace(f"{{{letter}}}", name)
                )
            ]
    return [(int(pattern, 2), rest)]


def _opcode(code: int, line: str) -> Opcode:
    found = re.fullmatch(r"(\w+)\s+(\S+\s+)?([123])\s+(\d+)(?:/(\d+))?\s+(.*)", line)
    assert found, line
    mnemonic, operands, size, t, t_not, cycles = found.groups()
    taken, _, not_taken = cycles.partition(" / ")
    return Opcode(
        code,
        mnemonic,
        tuple(operands.strip().split(",")) if operands else (),
        int(size),
        int(t),
        tuple(taken.split()),
        int(t_not or t),
        tuple((not_taken or taken).split()),
    )


def _read_summary() -> dict[int, Opcode]:
    opcodes: dict[int, Opcode] = {}
    for line in SUMMARY.splitlines():
        if not line or line.startswith("#"):
            continue
        pattern, rest = line.split(maxsplit=1)
        for code, filled in _expand(pattern, rest):
            assert code not in opcodes, f"{code:02X} stands twice in the summary"
            opcodes[code] = _opcode(code, filled)
    return opcodes


OPCODES = _read_summary()
"""All 256, by code."""
