"""Worked programs of the assembly language manual's kind, assembled and run for real.

The algorithms are those of the programming techniques chapter of the 8080/8085
Assembly Language Programming Manual (from memory: the text here is ours), and
shifts, moves and delays as everybody writes them.  Expected results come from
Python's integers, expected times from the T-states added up by hand beside the
instructions.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from .harness import Rig


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig()


def bcd(number: int, length: int) -> int:
    """The digits of a number packed two to a byte, as an integer of ``length`` bytes."""
    return int(f"{number:0{2 * length}d}", 16)


MULTIBYTE = """
        ORG  0
        LXI  B,FIRST
        LXI  H,SECOND
        MVI  E,{length}
        XRA  A              ; no carry or borrow into the lowest byte
LOOP:   LDAX B
        {operation}  M
        {adjust}
        STAX B
        INX  B              ; neither INX nor DCR touches CY
        INX  H
        DCR  E
        JNZ  LOOP
        MVI  A,0
        ADC  A
        STA  CARRY
        HLT
FIRST:  DS   16
SECOND: DS   16
CARRY:  DS   1
        END
"""

LENGTHS = (1, 3, 8, 16)


def run_multibyte(
    rig: Rig, operation: str, adjust: str, length: int, first: int, second: int
) -> tuple[int, int]:
    """Result and final carry."""
    symbols = rig.assemble(MULTIBYTE.format(operation=operation, adjust=adjust, length=length))
    rig.put_number(symbols["FIRST"], first, length)
    rig.put_number(symbols["SECOND"], second, length)
    rig.run()
    return rig.number(symbols["FIRST"], length), rig.number(symbols["CARRY"], 1)


def binary_operands(length: int) -> list[tuple[int, int]]:
    """Random numbers, and those whose carry runs through every byte."""
    chance = random.Random(length)
    top = 256**length
    pairs = [(chance.randrange(top), chance.randrange(top)) for _ in range(20)]
    return [*pairs, (top - 1, 1), (1, top - 1), (top - 1, top - 1), (0, 0), (0, 1)]


@pytest.mark.parametrize("length", LENGTHS)
def test_multibyte_addition(length: int, rig: Rig) -> None:
    for first, second in binary_operands(length):
        total, carry = run_multibyte(rig, "ADC", "NOP", length, first, second)
        assert (carry, total) == divmod(first + second, 256**length)


@pytest.mark.parametrize("length", LENGTHS)
def test_multibyte_subtraction(length: int, rig: Rig) -> None:
    for first, second in binary_operands(length):
        difference, borrow = run_multibyte(rig, "SBB", "NOP", length, first, second)
        assert difference == (first - second) % 256**length
        assert borrow == (first < second)


def decimal_operands(length: int) -> list[tuple[int, int]]:
    """Random decimal numbers, and those whose carry runs through every digit."""
    chance = random.Random(length)
    top = 100**length
    pairs = [(chance.randrange(top), chance.randrange(top)) for _ in range(20)]
    return [*pairs, (top - 1, 1), (1, top - 1), (top - 1, top - 1), (0, 0), (0, 1)]


@pytest.mark.parametrize("length", LENGTHS)
def test_decimal_addition(length: int, rig: Rig) -> None:
    """A string of BCD bytes, DAA after each ADC."""
    for first, second in decimal_operands(length):
        operands = bcd(first, length), bcd(second, length)
        total, carry = run_multibyte(rig, "ADC", "DAA", length, *operands)
        expected_carry, expected = divmod(first + second, 100**length)
        assert (carry, total) == (expected_carry, bcd(expected, length))


DECIMAL_SUBTRACTION = """
        ORG  0
        LXI  D,MINUEND
        LXI  H,SUBTRAHEND
        MVI  C,{length}
        STC                 ; CY = 1: no borrow
LOOP:   MVI  A,99H
        ACI  0              ; 99, or 9A when the byte below did not borrow
        SUB  M              ; ten's (or nine's) complement of the subtrahend byte
        XCHG
        ADD  M
        DAA
        MOV  M,A
        XCHG
        INX  D
        INX  H
        DCR  C
        JNZ  LOOP
        MVI  A,0
        ADC  A
        STA  CARRY
        HLT
MINUEND:        DS   16
SUBTRAHEND:     DS   16
CARRY:          DS   1
        END
"""


@pytest.mark.parametrize("length", LENGTHS)
def test_decimal_subtraction(length: int, rig: Rig) -> None:
    """By complement and DAA; CY at the end is 1 when nothing was borrowed."""
    symbols = rig.assemble(DECIMAL_SUBTRACTION.format(length=length))
    for first, second in decimal_operands(length):
        rig.put_number(symbols["MINUEND"], bcd(first, length), length)
        rig.put_number(symbols["SUBTRAHEND"], bcd(second, length), length)
        rig.run()
        difference = (first - second) % 100**length
        assert rig.number(symbols["MINUEND"], length) == bcd(difference, length)
        assert rig.number(symbols["CARRY"], 1) == (first >= second)


MULTIPLY = """
        ORG  0
        LXI  SP,0           ; products go down from FFFF
        LXI  H,{first}*256  ; H the multiplicand, L the multiplier
NEXT:   MOV  D,H
        MOV  C,L
        CALL MULT
        PUSH B
        INR  L
        JNZ  NEXT
        INR  H
        MOV  A,H
        CPI  {last}
        JNZ  NEXT
        HLT
; C times D; the product grows in B and C as the multiplier leaves C
MULT:   MVI  B,0
        MVI  E,9
MULT0:  MOV  A,C
        RAR                 ; next bit of the multiplier into CY, one of the product into C
        MOV  C,A
        DCR  E
        RZ
        MOV  A,B
        JNC  MULT1
        ADD  D
MULT1:  RAR                 ; the sum's carry comes in above
        MOV  B,A
        JMP  MULT0
        END
"""


def test_multiply_every_pair_of_bytes(rig: Rig) -> None:
    """8 x 8 bits by shift and add; 62 multiplicands a run fill the memory there is."""
    for first in range(0, 256, 62):
        last = min(first + 62, 256)
        rig.assemble(MULTIPLY.format(first=first, last=last % 256))
        rig.run()
        count = (last - first) * 256
        stored = rig.bytes(0x10000 - 2 * count, 0x10000)[::-1].reshape(-1, 2)
        products = stored[:, 0] << 8 | stored[:, 1]
        expected = np.arange(first, last)[:, None] * np.arange(256)[None, :]
        np.testing.assert_array_equal(products, expected.ravel())


DIVIDE = """
        ORG  0
        LXI  SP,STACK
        LXI  H,CASES
NEXT:   MOV  E,M            ; dividend, low byte first, then the divisor
        INX  H
        MOV  D,M
        INX  H
        MOV  C,M
        PUSH H
        XCHG
        CALL DIV
        XCHG
        POP  H
        DCX  H
        DCX  H
        MOV  M,E            ; quotient
        INX  H
        MOV  M,D            ; remainder
        INX  H
        INX  H
        LDA  COUNT
        DCR  A
        STA  COUNT
        JNZ  NEXT
        HLT
; HL by C: quotient to L, remainder to H; H must be below C
DIV:    MVI  B,8
DIV0:   DAD  H              ; a bit of the dividend into H, room for one of the quotient in L
        MOV  A,H
        JC   DIV1           ; 9 bits: certainly not below the divisor
        CMP  C
        JC   DIV2
DIV1:   SUB  C
        MOV  H,A
        INR  L
DIV2:   DCR  B
        JNZ  DIV0
        RET
COUNT:  DB   {count}
        DS   16
STACK:  DS   0
CASES:  DS   3*{count}
        END
"""


def test_divide_16_bits_by_8(rig: Rig) -> None:
    """By shift and compare, with every divisor in turn and quotients that fit a byte."""
    chance = random.Random(16)
    symbols = rig.assemble(DIVIDE.format(count=255))
    for _ in range(4):
        cases = [(chance.randrange(d * 256), d) for d in range(1, 256)]
        cases[-1] = (0xFEFF, 0xFF)
        for n, (dividend, divisor) in enumerate(cases):
            rig.put(symbols["CASES"] + 3 * n, [dividend & 0xFF, dividend >> 8, divisor])
        rig.put(symbols["COUNT"], [len(cases)])
        rig.run()
        for n, (dividend, divisor) in enumerate(cases):
            start = symbols["CASES"] + 3 * n
            answer = rig.number(start, 1), rig.number(start + 1, 1)
            assert answer == divmod(dividend, divisor), (dividend, divisor)


SHIFTS = """
        ORG  0
        LXI  SP,STACK
        LXI  H,{value}
        DAD  H              ; left, 0 in below
        SHLD LEFT
        LXI  H,{value}
        ORA  A              ; right, 0 in above
        MOV  A,H
        RAR
        MOV  H,A
        MOV  A,L
        RAR
        MOV  L,A
        SHLD RIGHT
        LXI  H,{value}
        MOV  A,H            ; rotate left: bit 15 goes round to bit 0
        RAL
        MOV  A,L
        RAL
        MOV  L,A
        MOV  A,H
        RAL
        MOV  H,A
        SHLD ROUND
        LXI  H,{value}
        DB   10H            ; ARHL
        SHLD HALF
        LXI  D,{value}
        STC
        DB   18H            ; RDEL
        XCHG
        SHLD THROUGH
        HLT
LEFT:   DS   2
RIGHT:  DS   2
ROUND:  DS   2
HALF:   DS   2
THROUGH: DS  2
        DS   8
STACK:  DS   0
        END
"""


@pytest.mark.parametrize("value", [0x0000, 0x0001, 0x8000, 0x7FFF, 0x80FF, 0xA55A, 0xFFFF])
def test_shifting_and_rotating_register_pairs(value: int, rig: Rig) -> None:
    symbols = rig.assemble(SHIFTS.format(value=value))
    rig.run()
    signed = value - 0x10000 if value & 0x8000 else value
    assert rig.number(symbols["LEFT"], 2) == value * 2 % 0x10000
    assert rig.number(symbols["RIGHT"], 2) == value // 2
    assert rig.number(symbols["ROUND"], 2) == value * 2 % 0x10000 + value // 0x8000
    assert rig.number(symbols["HALF"], 2) == signed // 2 % 0x10000
    assert rig.number(symbols["THROUGH"], 2) == value * 2 % 0x10000 + 1


MOVE = """
        ORG  0
        LXI  D,{source}
        LXI  H,{target}
        LXI  B,{length}
LOOP:   LDAX D
        MOV  M,A
        INX  D
        INX  H
        DCX  B
        MOV  A,B
        ORA  C
        JNZ  LOOP
        HLT
        END
"""


@pytest.mark.parametrize("length", [1, 255, 256, 257, 1000])
def test_string_move(length: int, rig: Rig) -> None:
    text = random.Random(length).randbytes(length)
    source, target = 0x1000, 0x2FF0
    rig.put(source, text)
    rig.put(target - 1, bytes(length + 2))
    rig.assemble(MOVE.format(source=source, target=target, length=length))
    rig.run()
    assert rig.bytes(target - 1, target + length + 1).tolist() == [0, *text, 0]


JUMP_TABLE = """
        ORG  0
        LXI  SP,STACK
        LDA  CHOICE         ; one bit set: the routine of that bit
        LXI  H,TABLE
BIT:    RAR
        JC   FOUND
        INX  H
        INX  H
        JMP  BIT
FOUND:  MOV  E,M
        INX  H
        MOV  D,M
        XCHG
        PCHL
TABLE:  DW   R0,R1,R2,R3,R4,R5,R6,R7
R0:     MVI  A,10
        JMP  DONE
R1:     MVI  A,11
        JMP  DONE
R2:     MVI  A,12
        JMP  DONE
R3:     MVI  A,13
        JMP  DONE
R4:     MVI  A,14
        JMP  DONE
R5:     MVI  A,15
        JMP  DONE
R6:     MVI  A,16
        JMP  DONE
R7:     MVI  A,17
DONE:   STA  ANSWER
        HLT
CHOICE: DS   1
ANSWER: DS   1
        DS   8
STACK:  DS   0
        END
"""


def test_jump_table(rig: Rig) -> None:
    symbols = rig.assemble(JUMP_TABLE)
    for bit in range(8):
        rig.put(symbols["CHOICE"], [1 << bit])
        rig.run()
        assert rig.number(symbols["ANSWER"], 1) == 10 + bit


DELAY = """
        ORG  0
        LXI  B,{count}      ; 10
LOOP:   DCX  B              ;  6
        MOV  A,B            ;  4
        ORA  C              ;  4
        JNZ  LOOP           ; 10, the last time 7
        HLT                 ;  4 to the end of its fetch
        END
"""


@pytest.mark.parametrize("count", [1, 2, 256, 1000, 65535])
def test_delay_loop(count: int, rig: Rig) -> None:
    rig.assemble(DELAY.format(count=count))
    assert rig.run() == 10 + count * (6 + 4 + 4 + 10) - 3 + 4


NESTED = """
        ORG  0
        LXI  SP,STACK       ; 10
        CALL WAIT           ; 18
        HLT                 ;  4
WAIT:   PUSH PSW            ; 12
        MVI  D,{outer}      ;  7
OUTER:  MVI  E,{inner}      ;  7
INNER:  DCR  E              ;  4
        JNZ  INNER          ; 10, the last time 7
        DCR  D              ;  4
        JNZ  OUTER          ; 10, the last time 7
        POP  PSW            ; 10
        RET                 ; 10
        DS   8
STACK:  DS   0
        END
"""


@pytest.mark.parametrize(("outer", "inner"), [(1, 1), (5, 7), (100, 255)])
def test_nested_delay_in_a_subroutine(outer: int, inner: int, rig: Rig) -> None:
    rig.assemble(NESTED.format(outer=outer, inner=inner))
    inner_loop = inner * (4 + 10) - 3
    outer_loop = outer * (7 + inner_loop + 4 + 10) - 3
    assert rig.run() == 10 + 18 + 12 + 7 + outer_loop + 10 + 10 + 4


UNDERFLOW = """
        ORG  0
        LXI  B,{count}      ; 10
LOOP:   DCX  B              ;  6
        DB   0DDH           ; JNK: 10, the last time 7
        DW   LOOP
        HLT                 ;  4
        END
"""


@pytest.mark.parametrize("count", [0, 1, 300, 65535])
def test_delay_by_the_underflow_flag(count: int, rig: Rig) -> None:
    """DCX and JNK of Dehnhardt & Sorensen: the loop ends as BC passes below zero."""
    rig.assemble(UNDERFLOW.format(count=count))
    assert rig.run() == 10 + (count + 1) * (6 + 10) - 3 + 4
    assert rig.get("B") << 8 | rig.get("C") == 0xFFFF
