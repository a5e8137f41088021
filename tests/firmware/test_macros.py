"""Macros and repetition.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapter 5 (value
from memory).
"""

from __future__ import annotations

import pytest

from emu85.errors import UserError
from emu85.firmware import AssemblyErrors, assemble
from emu85.firmware.assembler.macros import read_arguments, substitute


def code(source: str) -> bytes:
    """The bytes of a source that makes one run of them."""
    (segment,) = assemble(source, "a.asm").image.segments
    return segment.data


def test_parameters_and_missing_arguments() -> None:
    source = """
LOAD    MACRO REG,VALUE,PLACE
        MVI REG,VALUE
        IF NOT NUL PLACE
        STA PLACE
        ENDIF
        ENDM
        LOAD A,5,1234H
        LOAD B,'x'
"""
    assert code(source) == bytes.fromhex("3E 05 32 34 12 06 78")


def test_local_names_differ_in_each_expansion() -> None:
    source = """
WAIT    MACRO N
        LOCAL AGAIN     ; unique
        MVI B,N
AGAIN:  DCR B
        JNZ AGAIN
        ENDM
        WAIT 1
        WAIT 2
"""
    assert code(source) == bytes.fromhex("06 01 05 C2 02 00 06 02 05 C2 08 00")
    assert dict(assemble(source).image.symbols) == {}


def test_a_name_that_is_not_local_comes_twice() -> None:
    with pytest.raises(AssemblyErrors) as caught:
        assemble("W MACRO\nAGAIN: NOP\n ENDM\n W\n W", "a.asm")
    assert caught.value.message == "AGAIN is already defined at a.asm:2:1 (in W at a.asm:5:2)"


def test_joining() -> None:
    source = """
TABLE   MACRO N,TEXT
T&N&X:  DB 'N=&N',N,'&TEXT&!',0&N&H
        ENDM
        TABLE 7,ab
        DB LOW T7X
"""
    assert code(source) == b"N=7\x07ab!\x07\x00"


def test_arguments_in_brackets_and_by_value() -> None:
    source = """
ROW     MACRO LIST,N
        DB LIST
        DB N
        ENDM
K       SET 3
        ROW <1,2,','>,%K*2
        ROW 9,(K)
"""
    assert code(source) == b"\x01\x02,\x06\x09\x03"


def test_calls_within_calls_and_a_macro_that_calls_itself() -> None:
    source = """
INNER   MACRO V
        DB V
        ENDM
COUNT   MACRO N
        IF N
        INNER N
        COUNT %N-1
        ENDIF
        ENDM
        COUNT 4
"""
    assert code(source) == b"\x04\x03\x02\x01"


def test_a_macro_that_defines_a_macro() -> None:
    source = """
MAKE    MACRO NAME,V
NAME    MACRO X
        DB V,X
        ENDM
        ENDM
        MAKE FIRST,1
        MAKE SECOND,2
        FIRST 8
        SECOND 9
"""
    assert code(source) == b"\x01\x08\x02\x09"


def test_a_later_definition_replaces_the_earlier() -> None:
    assert code("M1 MACRO\n DB 1\n ENDM\n M1\nM1 MACRO\n DB 2\n ENDM\n M1") == b"\x01\x02"


def test_exitm_leaves_the_rest_out() -> None:
    source = """
UPTO    MACRO N
        DB 1
        IF N EQ 1
        EXITM
        ENDIF
        DB 2
        ENDM
        UPTO 1
        UPTO 2
"""
    assert code(source) == b"\x01\x01\x02"


def test_rept_in_rept() -> None:
    source = """
N       SET 0
        REPT 2
        REPT 2
N       SET N+1
        DB N
        ENDM
        DB 0FFH
        ENDM
        REPT 0
        DB 77H
        ENDM
"""
    assert code(source) == b"\x01\x02\xff\x03\x04\xff"


def test_irp_and_irpc() -> None:
    source = """
        IRP X,<1,'a,b',<2,3>>
        DB X
        ENDM
        IRPC C,59F
        DB 0&C&H,'&C'
        ENDM
        IRP X,<>
        DB 77H
        ENDM
"""
    assert code(source) == b"\x01a,b\x02\x03\x055\x099\x0fF"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("MOV X,AX", "MOV one,AX"),
        ("DB 'X'", "DB 'X'"),
        ("DB '&X''s'", "DB 'one''s'"),
        ("A&X&B", "AoneB"),
        ("A&B", "A&B"),
        ("0XH X", "0XH one"),
        ("NOP ; X", "NOP ; X"),
        ("NOP ;; gone", "NOP"),
        ("x", "one"),
    ],
)
def test_substitution(text: str, expected: str) -> None:
    assert substitute(text, {"X": "one"}) == expected


def test_argument_columns() -> None:
    text = "  M1 a, <b,c> ,%d"
    arguments = [(a.text, a.column, a.by_value) for a in read_arguments(text, 4, len(text))]
    assert arguments == [("a", 6, False), ("b,c", 10, False), ("d", 17, True)]


@pytest.mark.parametrize(
    ("source", "line", "column", "message"),
    [
        ("M1 MACRO\n M1\n ENDM\n M1", 2, 2, "M1 nests too deep"),
        ("A1 MACRO\n B1\n ENDM\nB1 MACRO\n A1\n ENDM\n A1", 5, 2, "A1 nests too deep"),
        (" REPT 8000H\n REPT 8000H\n ;\n ENDM\n ENDM", 3, 1, "REPT makes too many lines"),
        ("M1 MACRO X\n M1 <X&X>\n ENDM\n M1 abcdefgh", 2, 1, "characters comes out"),
        ("M1 MACRO X,X\n ENDM", 1, 12, "parameter X comes twice"),
        ("M1 MACRO 1X\n ENDM", 1, 10, "'1X' is not a parameter name"),
        ("M1 MACRO X,\n ENDM", 1, 12, "parameter name is missing"),
        ("NOP MACRO\n ENDM", 1, 1, "NOP is a reserved word"),
        ("M1 MACRO X\n ENDM\n M1 1,2", 3, 7, "M1 has 1 parameter, 2 given"),
        ("M1 MACRO X\n ENDM\n M1 <1,2", 3, 5, "'<' has no partner"),
        ("M1 MACRO X\n ENDM\n M1 1>", 3, 6, "'>' has no partner"),
        ("M1 MACRO X\n NOP", 1, 4, "MACRO is not closed"),
        (" REPT 2\n NOP", 1, 2, "REPT is not closed"),
        (" REPT LATER\n ENDM\nLATER:", 1, 7, "LATER is not defined"),
        (" ENDM", 1, 2, "ENDM closes nothing"),
        (" EXITM", 1, 2, "EXITM outside a macro"),
        ("M1 MACRO\n NOP\n LOCAL X\n ENDM\n M1", 3, 2, "LOCAL is out of place"),
        ("M1 MACRO\n LOCAL 5\n ENDM", 2, 8, "'5' is not a parameter name"),
        (" IRP X\n ENDM", 1, 6, "IRP takes a parameter and a list"),
        (" IRP ,<1>\n ENDM", 1, 6, "parameter name is missing"),
        ("M1 MACRO\n IF 1\n ENDM\n M1", 2, 2, "IF is not closed"),
        ("M1: MACRO\n ENDM", 1, 3, "a name before MACRO has no colon"),
    ],
)
def test_faults(source: str, line: int, column: int, message: str) -> None:
    with pytest.raises(AssemblyErrors) as caught:
        assemble(source, "a.asm")
    (error,) = caught.value.errors
    assert message in error.message
    assert (error.place.line, error.place.column) == (line, column)
    assert isinstance(error, UserError)


def test_an_error_in_an_expansion_tells_who_called() -> None:
    source = "M1 MACRO V\n MVI A,V\n ENDM\nM2 MACRO\n M1 300\n ENDM\n M2"
    with pytest.raises(AssemblyErrors) as caught:
        assemble(source, "a.asm")
    assert str(caught.value) == (
        "a.asm:2:8: 012CH does not fit in a byte (in M1 at a.asm:5:2, in M2 at a.asm:7:2);"
        " expected -256 to 255; HIGH or LOW takes half of a word\n"
        "     MVI A,300\n"
        "           ^"
    )
