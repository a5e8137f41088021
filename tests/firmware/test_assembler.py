"""Statements and directives.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapters 2 and 4
(value from memory).  Bytes were encoded by hand from the published opcode map.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.firmware import AssemblyErrors, Segment, SourceLine, assemble


def code(source: str) -> bytes:
    """The bytes of a source that makes one run of them."""
    (segment,) = assemble(source, "a.asm").image.segments
    return segment.data


def test_a_whole_program() -> None:
    assembly = assemble(
        """
; copies sixteen bytes
COUNT   EQU 10H
        ORG 2000H
START:  LXI SP,STACK    ; forward reference
        LXI H,FROM
        lxi d,to
        MVI B,COUNT
LOOP:   MOV A,M
        STAX D
        INX H
        INX D
        DCR B
        JNZ LOOP
        HLT
FROM    EQU 2100H
TO:     DS COUNT
        DS 20H
STACK:
        END START
""",
        "copy.asm",
    )
    expected = "31 44 20 21 00 21 11 14 20 06 10 7E 12 23 13 05 C2 0B 20 76"
    assert assembly.image.segments == (Segment(0x2000, bytes.fromhex(expected)),)
    assert assembly.image.entry == 0x2000
    assert assembly.image.symbols == {
        "START": 0x2000,
        "LOOP": 0x200B,
        "TO": 0x2014,
        "STACK": 0x2044,
        "COUNT": 0x10,
        "FROM": 0x2100,
    }
    assert assembly.image.lines[0x200B] == SourceLine("copy.asm", 9, "LOOP:   MOV A,M")


def test_labels_come_before_equated_names() -> None:
    image = assemble("E1 EQU 5\nL1: NOP\nE2 EQU L1\nL2: NOP").image
    assert list(image.symbols) == ["L1", "L2", "E1", "E2"]


def test_case_does_not_matter_and_spelling_stays() -> None:
    image = assemble("Loop: jmp LOOP\n JMP loop").image
    assert image.segments[0].data == b"\xc3\x00\x00\xc3\x00\x00"
    assert dict(image.symbols) == {"Loop": 0}


def test_a_label_alone_and_a_colon_apart() -> None:
    assert code("L1:\nL2 : DW L1,L2,L3\nL3:") == b"\x00\x00\x00\x00\x06\x00"


def test_set_takes_new_values_and_looks_back() -> None:
    assert code("N SET 1\n DB N\nN SET N+1\n DB N\n DB M2\nM2 EQU N") == b"\x01\x02\x02"


def test_a_chain_of_names_equated_ahead() -> None:
    assert code(" DB A1\nA1 EQU B1+1\nB1 EQU C1+1\nC1 EQU 5") == b"\x07"


def test_here_is_the_start_of_the_statement() -> None:
    assert code(" ORG 10H\n DB 1,LOW $,2\n JMP $") == b"\x01\x10\x02\xc3\x13\x00"


def test_db_strings_and_expressions() -> None:
    assert code(" DB 'It''s; ok',0DH,'A'+1,-1,-256,'AB'") == b"It's; ok\x0dB\xff\x00AB"


def test_dw_puts_the_low_byte_first() -> None:
    # The manual's own pair: 'A' gives 41 00, 'AB' gives 42 41 (value from memory).
    assert code(" DW 'A','AB',1234H") == b"\x41\x00\x42\x41\x34\x12"


def test_ds_leaves_a_gap() -> None:
    assert assemble(" DB 1\n DS 2\n DB 2").image.segments == (
        Segment(0, b"\x01"),
        Segment(3, b"\x02"),
    )


@pytest.mark.parametrize("operand", ["255", "-1", "-256", "0FF00H", "LOW 1234H"])
def test_bytes_in_range(operand: str) -> None:
    assert len(code(f" MVI A,{operand}")) == 2


def test_registers_by_number_and_by_name_of_ones_own() -> None:
    # B C D E H L M A are 0 to 7; pairs go by their first register (value from memory).
    assert code("ACC EQU A\nPTR EQU H\n MVI ACC,1\n LXI PTR,0\n MOV 6,7\n PUSH 6\n INX 6") == (
        b"\x3e\x01\x21\x00\x00\x77\xf5\x33"
    )


def test_restart_by_expression() -> None:
    assert code("N EQU 3\n RST N+1") == b"\xe7"


@pytest.mark.parametrize(
    ("flags", "expected"),
    [((1, 1), b"\x01\x09"), ((1, 0), b"\x02\x09"), ((0, 1), b"\x03\x09"), ((0, 0), b"\x04\x09")],
)
def test_nested_conditions(flags: tuple[int, int], expected: bytes) -> None:
    source = """
        IF X1
          IF Y1
            DB 1
          ELSE
            DB 2
          ENDIF
        ELSE
          IF Y1
            DB 3
          ELSE
            DB 4
          ENDIF
        ENDIF
        DB 9
    """
    assert code(f"X1 EQU {flags[0]}\nY1 EQU {flags[1]}\n{source}") == expected


def test_what_a_false_if_leaves_out_is_not_read() -> None:
    assert code(" IF 0\nthis is 'not code at all\n ENDIF\n NOP") == b"\x00"


def test_nothing_after_end_is_read() -> None:
    assert code(" NOP\n END\n rubbish") == b"\x00"


def test_include_beside_and_in_a_directory(tmp_path: Path) -> None:
    (tmp_path / "lib").mkdir()
    (tmp_path / "near.inc").write_text('PORT EQU 21H\n INCLUDE "far.inc"\n')
    (tmp_path / "lib" / "far.inc").write_text("FAR: OUT PORT\n")
    assembly = assemble(
        " INCLUDE 'near.inc'\n JMP FAR",
        str(tmp_path / "main.asm"),
        include_dirs=[tmp_path / "lib"],
    )
    assert assembly.image.segments[0].data == b"\xd3\x21\xc3\x00\x00"
    assert assembly.image.lines[0].file == str(tmp_path / "lib" / "far.inc")


def test_an_error_in_an_included_file_is_placed_there(tmp_path: Path) -> None:
    (tmp_path / "near.inc").write_text("\n MVI A\n")
    with pytest.raises(AssemblyErrors) as caught:
        assemble(" INCLUDE 'near.inc'", str(tmp_path / "main.asm"))
    assert str(caught.value.place) == f"{tmp_path / 'near.inc'}:2:7"


def test_code_up_to_the_last_address() -> None:
    assert assemble(" ORG 0FFFFH\nTOP: NOP").image.segments == (Segment(0xFFFF, b"\x00"),)


def test_the_same_source_twice_gives_the_same() -> None:
    source = "M1 MACRO\n LOCAL L\nL: JMP L\n ENDM\n M1\n M1"
    assert assemble(source) == assemble(source)


def test_the_image_tells_labels_from_values_and_where_data_is_kept() -> None:
    source = """
PORT    EQU 40H
COUNT   SET 1
        ORG 0100H
START:  JMP START
TABLE:  DS 5
        DB 1
        ORG 8000H
WORK:   DS 4
NONE:   DS 0
"""
    image = assemble(source).image
    assert image.equated == {"PORT", "COUNT"}
    assert image.runs == ((0x100, 0x109), (0x8000, 0x8004))
