"""Numbers, operators and their precedence.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapter 2 (value
from memory).  Expected values were worked out by hand.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.firmware import assemble

WORD = st.integers(0, 0xFFFF)


def value(expression: str) -> int:
    """What the assembler makes of an expression at address 0100."""
    source = f"FIVE EQU 5\n ORG 100H\n DW {expression}\n"
    return int.from_bytes(assemble(source).image.segments[0].data, "little")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0FFH", 255),
        ("0ffh", 255),
        ("377Q", 255),
        ("377o", 255),
        ("1010B", 10),
        ("99D", 99),
        ("99", 99),
        ("0BH", 11),
        ("0DH", 13),
        ("10B", 2),
        ("10D", 10),
        ("1111$0000B", 240),
        ("0000000000000000000000001", 1),
        ("65535", 65535),
        ("'A'", 0x41),
        ("''''", 0x27),
        ("'AB'", 0x4142),
        ("';'", 0x3B),
        ("$", 0x100),
        ("$+3", 0x103),
        ("five", 5),
    ],
)
def test_operands(text: str, expected: int) -> None:
    assert value(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2+3*4", 14),
        ("(2+3)*4", 20),
        ("-2*3", 0xFFFA),
        ("2*-3", 0xFFFA),
        ("-1+2", 1),
        ("10-3-2", 5),
        ("100/7/2", 7),
        ("100 MOD 7*2", 4),
        ("1 SHL 4+1", 17),
        ("1 SHL (4+1)", 32),
        ("8000H SHR 15", 1),
        ("0FFFFH SHL 200", 0),
        ("HIGH 1234H+1", 0x13),
        ("LOW 1234H*2", 0x68),
        ("HIGH (1234H+100H)", 0x13),
        ("HIGH -1", 0xFF),
        ("LOW HIGH 1234H", 0x12),
        ("1+1 EQ 2", 0xFFFF),
        ("1 EQ 2", 0),
        ("0FFFFH GT 1", 0xFFFF),
        ("-1 LT 1", 0),
        ("3 LE 3", 0xFFFF),
        ("3 GE 4", 0),
        ("3 NE 4", 0xFFFF),
        ("NOT 1 EQ 1", 0),
        ("NOT 0", 0xFFFF),
        ("NOT 0FH AND 3CH", 0x30),
        ("1 OR 6 AND 4", 5),
        ("1 XOR 3 OR 8", 10),
        ("0FFFFH+1", 0),
        ("0FFFFH*0FFFFH", 1),
        ("0-1", 0xFFFF),
        ("(2-5)/2", 0x7FFE),
        ("(0-1) GT 1", 0xFFFF),
        ("(0-1) SHR 4", 0x0FFF),
        ("HIGH (0-1)", 0xFF),
        ("NOT (0-1)", 0),
        ("NOT (0-FIVE)", 4),
        ("3*(0-1)*(0-1)", 3),
        ("0FFFFH*0FFFFH*0FFFFH*0FFFFH*0FFFFH", 0xFFFF),
        ("2*(3+(4-1))", 12),
        ("(ADD C)", 0x81),
        ("(MOV A,M)", 0x7E),
        ("(RST 7) AND 38H", 0x38),
        ("NUL", 0xFFFF),
        ("NUL FIVE", 0),
    ],
)
def test_operators(text: str, expected: int) -> None:
    assert value(text) == expected


@pytest.mark.parametrize(
    ("count", "expected"),
    [
        ("0FFF0H", 0xFFF0),
        ("0C000H+1", 0xC001),
        ("60000+10000-5000", 65000),
        ("5-6+3", 2),
        ("-16 AND 0FFH", 0xF0),
        ("8000H+8000H", 0),
        ("0-(0-3)", 3),
    ],
)
def test_a_count_is_taken_unless_it_is_below_0(count: str, expected: int) -> None:
    source = f" DS {count}\nTHERE: DB 0"
    assert assemble(source).image.symbols["THERE"] == expected


@settings(deadline=None)
@given(WORD, WORD, st.sampled_from(["+", "-", "*", "AND", "OR", "XOR", "/", "MOD"]))
def test_arithmetic_is_modulo_64k(left: int, right: int, operator: str) -> None:
    exact = {
        "+": left + right,
        "-": left - right,
        "*": left * right,
        "AND": left & right,
        "OR": left | right,
        "XOR": left ^ right,
        "/": left // right if right else 0,
        "MOD": left % right if right else 0,
    }
    if right or operator not in ("/", "MOD"):
        assert value(f"{left} {operator} {right}") == exact[operator] % 65536


@pytest.mark.parametrize(
    ("text", "column", "message"),
    [
        ("2+", 7, "operand is missing"),
        ("*2", 5, "'*' is not expected"),
        ("2 3", 7, "'3' is not expected"),
        ("(2", 5, "parenthesis is not closed"),
        ("2)", 6, "')' is not expected"),
        ("1/0", 6, "/ by zero"),
        ("1 MOD (2-2)", 7, "MOD by zero"),
        ("65536", 5, "does not fit in 16 bits"),
        ("12AH,0FG", 10, "'0FG' is not a number"),
        ("1F", 5, "'1F' is not a number"),
        ("'ABC'", 5, "3 characters"),
        ("'é'", 5, "not an ASCII character"),
        ("'A", 5, "string is not closed"),
        ("2 # 3", 7, "'#' has no meaning"),
        ("B+1", 5, "B is a register"),
        ("MOV", 5, "MOV is a reserved word"),
        ("(MOV A)", 6, "no opcode is MOV A"),
        ("(" * 60 + "1" + ")" * 60, 55, "nested too deep"),
        ("- " * 60 + "1", 105, "nested too deep"),
    ],
)
def test_faults(text: str, column: int, message: str) -> None:
    with pytest.raises(UserError) as caught:
        assemble(f" DW {text}", "a.asm")
    assert message in caught.value.message
    assert (caught.value.place.line, caught.value.place.column) == (1, column)


def test_a_long_expression_is_no_trouble() -> None:
    assert value("+".join(["1"] * 5000)) == 5000
