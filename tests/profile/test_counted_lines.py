"""The listing with figures beside its lines."""

from __future__ import annotations

from emu85.firmware import Image, Segment, assemble
from emu85.profile.lines import counted_code, counted_rows, coverage, write_lines
from tests.profile.watched import watched

PROGRAM = """
COUNT   EQU     3
        ORG     0
        LXI     SP,9000H        ; 10
        MVI     B,COUNT         ; 7
AGAIN:  DCR     B               ; 4, three times
        JNZ     AGAIN           ; 10, 10, 7
        JZ      OVER            ; 10
        DB      3EH,1
OVER:   JMP     DONE            ; 10
NEVER:  MVI     A,1
        RET
DONE:   HLT
"""
BYTES_EXECUTED, BYTES_OF_CODE = 3 + 2 + 1 + 3 + 3 + 3 + 1, 3 + 2 + 1 + 3 + 3 + 3 + 2 + 1 + 1


def test_each_source_line_has_its_figures() -> None:
    rows = assemble(PROGRAM, "program.asm").rows
    _, figures = watched(PROGRAM, t_states=400)
    lines = list(counted_rows(rows, figures.execution))
    by_word = {
        line.text.split(";")[0].split()[-1]: line for line in lines if line.times is not None
    }
    counts = {word: (line.times, line.t_states) for word, line in by_word.items()}
    assert counts["SP,9000H"] == (1, 10)
    assert counts["B,COUNT"] == (1, 7)
    assert counts["B"] == (3, 12)
    assert counts["AGAIN"] == (3, 27)
    assert counts["OVER"] == (1, 10)
    assert counts["A,1"] == (0, 0)
    assert not any("DB" in line.text or "EQU" in line.text for line in by_word.values())
    assert coverage(lines) == (BYTES_EXECUTED, BYTES_OF_CODE)


def test_lines_never_reached_say_so_in_a_word() -> None:
    rows = assemble(PROGRAM, "program.asm").rows
    _, figures = watched(PROGRAM, t_states=400)
    text = write_lines("program.asm", list(counted_rows(rows, figures.execution)))
    never = [line for line in text.splitlines() if line.lstrip().startswith("never")]
    assert [line.split()[-1] for line in never] == ["A,1", "RET"]
    assert f"{BYTES_EXECUTED} of {BYTES_OF_CODE} bytes of instructions executed" in text
    assert "          3            12  0005  05" in text


def test_without_a_source_what_was_executed_is_not_cut_in_two() -> None:
    """A byte 3E before executed code would take its first byte for an operand."""
    _, figures = watched("        JMP 4\n DB 3EH\nON: NOP\n HLT\n", t_states=100)
    image = Image((Segment(0, bytes([0xC3, 4, 0, 0x3E, 0x00, 0x76])),))
    lines = list(counted_code(image, figures.execution))
    shown = [(line.times, " ".join(line.text.split())) for line in lines]
    assert shown == [
        (1, "0000 C3 04 00 JMP 0004H"),
        (None, "0003 3E DB 03EH"),
        (1, "0004 00 NOP"),
        (1, "0005 76 HLT"),
    ]


def test_an_instruction_that_the_image_ends_in_is_bytes() -> None:
    _, figures = watched("        HLT\n", t_states=50)
    lines = list(counted_code(Image((Segment(0, b"\x76\xc3\x00"),)), figures.execution))
    assert [" ".join(line.text.split()) for line in lines] == [
        "0000 76 HLT",
        "0001 C3 DB 0C3H",
        "0002 00 NOP",
    ]
