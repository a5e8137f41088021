"""Arithmetic and logic over every operand, flags included, against plain integers.

The loops over operands run on the emulated board; what they store on the stack
is compared with :mod:`flags` as whole arrays.  Sources: those of :mod:`flags`,
values from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from . import flags as fl
from .harness import Rig

Array = npt.NDArray[np.int64]

BURST = 64
"""Values of the first operand done in one run: 64 x 256 results of two bytes fill 32 K."""

PAIRS = """
        ORG  0
        LXI  SP,0           ; results go down from FFFF
        LXI  H,CELL
        MVI  D,{first}      ; first operand
        MVI  E,{count}
        MVI  B,0            ; second operand
NEXT:   {prepare}
        MOV  A,D
        STC
        {carry}
TESTED: DB   {tested}
        {after}
        PUSH PSW
        INR  B
        JNZ  NEXT
        INR  D
        DCR  E
        JNZ  NEXT
        HLT
CELL:   DB   0
        END
"""

IMMEDIATE = "MOV A,B\n STA TESTED+1"
MEMORY = "MOV M,B"
CARRY = {0: "CMC", 1: "NOP"}


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig()


def every_pair(
    rig: Rig, tested: str, *, carry: int, prepare: str = "NOP", after: str = "NOP"
) -> tuple[Array, Array]:
    """A and F after ``tested`` for all A, B: two arrays indexed ``[a, b]``."""
    parts = []
    for first in range(0, 256, BURST):
        text = PAIRS.format(
            first=first,
            count=BURST,
            prepare=prepare,
            carry=CARRY[carry],
            tested=tested,
            after=after,
        )
        rig.assemble(text)
        rig.run()
        parts.append(rig.bytes(0x10000 - 2 * 256 * BURST, 0x10000)[::-1])
    results = np.concatenate(parts).reshape(256, 256, 2)
    return results[:, :, 0], results[:, :, 1]


def operands() -> tuple[Array, Array]:
    """All values of A down, of B across."""
    a, b = np.meshgrid(np.arange(256), np.arange(256), indexing="ij")
    return a, b


Formula = Callable[[Array, Array, int], tuple[Any, Any]]


def compare(a: Array, b: Array, carry: int) -> tuple[Any, Any]:
    """CMP: the flags of SUB, the accumulator left alone."""
    return a, fl.subtract(a, b, 0)[1]


# Opcode of the B form; the M form is 6 more, the immediate form 46H more (User's Manual).
OPERATIONS: dict[str, tuple[int, Formula]] = {
    "ADD": (0x80, lambda a, b, c: fl.add(a, b, 0)),
    "ADC": (0x88, lambda a, b, c: fl.add(a, b, c)),
    "SUB": (0x90, lambda a, b, c: fl.subtract(a, b, 0)),
    "SBB": (0x98, lambda a, b, c: fl.subtract(a, b, c)),
    "ANA": (0xA0, lambda a, b, c: fl.logic(a & b, ac=1)),
    "XRA": (0xA8, lambda a, b, c: fl.logic(a ^ b, ac=0)),
    "ORA": (0xB0, lambda a, b, c: fl.logic(a | b, ac=0)),
    "CMP": (0xB8, compare),
}

FORMS = {
    "register": (0, "", "NOP"),
    "memory": (6, "", MEMORY),
    "immediate": (0x46, ",0", IMMEDIATE),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", OPERATIONS)
def test_accumulator_with_every_operand(name: str, form: str, rig: Rig) -> None:
    """ADD ADC SUB SBB ANA XRA ORA CMP: all 65536 pairs and both carries, all seven flags."""
    code, formula = OPERATIONS[name]
    offset, second_byte, prepare = FORMS[form]
    a, b = operands()
    for carry in (0, 1):
        tested = f"{code + offset}{second_byte}"
        result, flags = every_pair(rig, tested, carry=carry, prepare=prepare)
        expected_result, expected_flags = formula(a, b, carry)
        np.testing.assert_array_equal(result, expected_result)
        np.testing.assert_array_equal(flags, expected_flags)


@pytest.mark.parametrize("carry", [0, 1])
@pytest.mark.parametrize(("name", "code", "invert"), [("ADC", 0x88, 0), ("SBB", 0x98, 0xFF)])
def test_k_by_the_published_formula(
    name: str, code: int, invert: int, carry: int, rig: Rig
) -> None:
    """X5 = O1.O2 + O1.R + O2.R of the sign bits; a subtrahend is complemented.

    Source: Dehnhardt & Sorensen, Electronics, 18 January 1979 (from memory).
    """
    result, flags = every_pair(rig, str(code), carry=carry)
    a, b = operands()
    o1, o2, r = a >> 7, (b ^ invert) >> 7, result >> 7
    np.testing.assert_array_equal(flags >> 5 & 1, o1 & o2 | o1 & r | o2 & r, name)


@pytest.mark.parametrize("carry", [0, 1])
@pytest.mark.parametrize(
    ("tested", "prepare", "after", "formula"),
    [
        ("3CH", "NOP", "NOP", fl.increment),
        ("3DH", "NOP", "NOP", fl.decrement),
        ("34H", "MOV M,D", "MOV A,M", fl.increment),
        ("35H", "MOV M,D", "MOV A,M", fl.decrement),
    ],
    ids=["INR A", "DCR A", "INR M", "DCR M"],
)
def test_increment_and_decrement(
    tested: str,
    prepare: str,
    after: str,
    formula: Callable[[Array, int], tuple[Any, Any]],
    carry: int,
    rig: Rig,
) -> None:
    """INR and DCR of every byte; CY is left as it was."""
    result, flags = every_pair(rig, tested, carry=carry, prepare=prepare, after=after)
    expected_result, expected_flags = formula(operands()[0], carry)
    np.testing.assert_array_equal(result, expected_result)
    np.testing.assert_array_equal(flags, expected_flags)


DOUBLE = """
        ORG  0
        LXI  SP,0
        MVI  D,{first}      ; high byte of HL
        MVI  A,{count}
        STA  COUNT
        LXI  B,{low_bc}     ; B runs from 0 to 255, C stays
NEXT:   LHLD START          ; flags before the instruction
        PUSH H
        POP  PSW
        MOV  H,D
        MVI  L,{low_hl}
        DB   {tested}
        PUSH H
        PUSH PSW
        INR  B
        JNZ  NEXT
        INR  D
        LXI  H,COUNT
        DCR  M
        JNZ  NEXT
        HLT
START:  DW   {flags}
COUNT:  DB   0
        END
"""

LOW_BYTES = [(0x00, 0x00), (0x01, 0xFF), (0xFF, 0x01), (0x80, 0x7F), (0xFF, 0xFF)]
"""Low bytes of HL and BC: with and without a carry or borrow into the high bytes."""


def every_high_byte(
    rig: Rig, tested: int, low_hl: int, low_bc: int, flags: int
) -> tuple[Array, Array]:
    """HL and F after ``tested`` for all high bytes of HL and BC, indexed ``[h, b]``."""
    burst = 32
    parts = []
    for first in range(0, 256, burst):
        rig.assemble(
            DOUBLE.format(
                first=first,
                count=burst,
                low_hl=low_hl,
                low_bc=low_bc,
                tested=tested,
                flags=flags,
            )
        )
        rig.run()
        parts.append(rig.bytes(0x10000 - 4 * 256 * burst, 0x10000)[::-1])
    results = np.concatenate(parts).reshape(256, 256, 4)
    return results[:, :, 0] << 8 | results[:, :, 1], results[:, :, 3]


@pytest.mark.parametrize("flags", [0, fl.ALL], ids=["flags clear", "flags set"])
@pytest.mark.parametrize(("low_hl", "low_bc"), LOW_BYTES)
def test_double_add(low_hl: int, low_bc: int, flags: int, rig: Rig) -> None:
    """DAD: CY and V; the others, K among them, stay."""
    high_hl, high_bc = operands()
    word, seen = every_high_byte(rig, 0x09, low_hl, low_bc, flags)
    expected = fl.double_add(high_hl << 8 | low_hl, high_bc << 8 | low_bc, np.int64(flags))
    np.testing.assert_array_equal(word, expected[0])
    np.testing.assert_array_equal(seen, expected[1])


@pytest.mark.parametrize("flags", [0, fl.ALL], ids=["flags clear", "flags set"])
@pytest.mark.parametrize(("low_hl", "low_bc"), LOW_BYTES)
def test_double_subtract(low_hl: int, low_bc: int, flags: int, rig: Rig) -> None:
    """DSUB: HL - BC, all flags; a borrow that stood before does not count."""
    high_hl, high_bc = operands()
    word, seen = every_high_byte(rig, 0x08, low_hl, low_bc, flags)
    expected = fl.double_subtract(high_hl << 8 | low_hl, high_bc << 8 | low_bc)
    np.testing.assert_array_equal(word, expected[0])
    np.testing.assert_array_equal(seen, expected[1])


def test_decimal_addition_of_every_pair_of_bcd_bytes(rig: Rig) -> None:
    """ADD or ADC, then DAA: the decimal sum, CY the decimal carry, both carries in."""
    numbers = np.arange(100)
    bcd = numbers // 10 << 4 | numbers % 10
    for name, code in (("ADD", 0x80), ("ADC", 0x88)):
        for carry in (0, 1):
            result, flags = every_pair(rig, f"{code},27H", carry=carry)
            total = numbers[:, None] + numbers[None, :] + (carry if name == "ADC" else 0)
            expected = bcd[total % 100]
            np.testing.assert_array_equal(result[np.ix_(bcd, bcd)], expected)
            judged = fl.S | fl.Z | fl.P | fl.CY
            expected_flags = (
                fl.S * (expected > 0x7F)
                + fl.Z * (expected == 0)
                + fl.P * fl.EVEN_PARITY[expected]
                + fl.CY * (total > 99)
            )
            np.testing.assert_array_equal(flags[np.ix_(bcd, bcd)] & judged, expected_flags)


ADJUST = """
        ORG  0
        LXI  SP,0
        MVI  B,{first}      ; accumulator
        MVI  E,{count}
        MVI  C,0            ; flags
NEXT:   PUSH B
        POP  PSW
        DAA
        PUSH PSW
        INR  C
        JNZ  NEXT
        INR  B
        DCR  E
        JNZ  NEXT
        HLT
        END
"""


def test_decimal_adjust_of_everything(rig: Rig) -> None:
    """DAA for every accumulator and every flag byte, by the manual's two steps.

    V and K after DAA are not judged: no published source tells of them.
    """
    parts = []
    for first in range(0, 256, BURST):
        rig.assemble(ADJUST.format(first=first, count=BURST))
        rig.run()
        parts.append(rig.bytes(0x10000 - 2 * 256 * BURST, 0x10000)[::-1])
    results = np.concatenate(parts).reshape(256, 256, 2)
    expected = np.array([[fl.decimal_adjust(a, f) for f in range(256)] for a in range(256)])
    np.testing.assert_array_equal(results[:, :, 0], expected[:, :, 0])
    judged = fl.S | fl.Z | fl.AC | fl.P | fl.CY
    np.testing.assert_array_equal(results[:, :, 1] & judged, expected[:, :, 1] & judged)
