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
    text = write_lines(
        "program.asm", list(counted_rows(rows, figures.execution)), figures.execution
    )
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


WRITTEN_AS_DATA = """
        LXI     SP,9000H        ; 10
        DB      08H             ; DSUB 10, which an older assembler does not know
        DB      3EH,7,3CH       ; MVI A,7: 7; INR A: 4
        CALL    TEXT
        DB      'never code',0
INTO:   LXI     B,0C93CH        ; 10; from its second byte on INR A 4, RET 10
        CALL    PASS
        CALL    INTO+1
        HLT
TEXT:   POP     H
        LXI     D,11
        DAD     D
        PCHL
PASS:   DB      01H             ; LXI B 10: passes over the next
TWO:    MVI     A,2
        RET
"""


def test_what_was_executed_has_figures_however_it_was_written() -> None:
    rows = assemble(WRITTEN_AS_DATA, "program.asm").rows
    _, figures = watched(WRITTEN_AS_DATA, t_states=400)
    execution = figures.execution
    lines = list(counted_rows(rows, execution))
    assert sum(line.t_states for line in lines) + 3 == figures.t_states  # RESET
    shown = {" ".join(line.text.split()): (line.times, line.t_states) for line in lines}

    def figures_of(part: str) -> list[tuple[int | None, int]]:
        return [found for text, found in shown.items() if part in text]

    assert figures_of("DB 08H") == [(1, 10)]
    assert figures_of("DB 3EH,7,3CH") == [(1, 7)]
    assert figures_of("3C INR A ; executed from here") == [(1, 4), (1, 4)]
    assert figures_of("DB 'never code',0") == [(None, 0)]
    assert figures_of("INTO: LXI B") == [(1, 10)]
    assert figures_of("C9 RET ; executed from here") == [(1, 10)]
    assert figures_of("PASS: DB") == [(1, 10)]
    assert figures_of("TWO: MVI") == [(0, 0)]
    text = write_lines("program.asm", lines, execution)
    assert f"{figures.t_states} T-states: {figures.t_states - 3} in these lines, 0 in" in text
    # All but the text and MVI A,2: of that LXI B has only taken the bytes for its operand.
    size = 3 + 1 + 3 + 3 + 3 + 3 + 3 + 1 + 1 + 3 + 1 + 1 + 1 + 2 + 1
    assert coverage(lines) == (size - 2, size)


def test_a_jump_into_an_instruction_of_a_disassembly() -> None:
    """0003: LXI B,7600H, then a jump to its operand, NOP and HLT."""
    machine_code = bytes([0xC3, 3, 0, 0x01, 0x00, 0x76, 0xC3, 4, 0])
    data = ",".join(f"0{byte:02X}H" for byte in machine_code)
    _, figures = watched(f"        DB {data}\n", t_states=100)
    lines = list(counted_code(Image((Segment(0, machine_code),)), figures.execution))
    assert sum(line.t_states for line in lines) + 3 == figures.t_states
    assert "executed from here" in next(line.text for line in lines if line.text.startswith("0005"))


def test_code_elsewhere_is_told_as_a_sum() -> None:
    """MVI 7, STA 13, CALL 18; in RAM: RET 10; HLT."""
    program = "        LXI SP,9000H\n MVI A,0C9H\n STA 8000H\n CALL 8000H\n HLT\n"
    rows = assemble(program, "program.asm").rows
    _, figures = watched(program, t_states=400)
    lines = list(counted_rows(rows, figures.execution))
    text = write_lines("program.asm", lines, figures.execution)
    assert ", 10 in code elsewhere, 3 in acknowledges and RESET" in text
