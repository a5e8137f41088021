"""A board and a program without fault, and what is needed to put a fault into them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from emu85.board import read_board
from emu85.burn import Hints, PlainRun, Report, Result, Subject, Wanted, report, study
from emu85.firmware import Image, assemble

BOARD = """
name: bench
crystal: 2 MHz
pull-ups: FF
stack: 8700-87FF
memory:
  - {chip: 2716, name: program, at: 0000-07FF}
  - {chip: 2716, name: spare, at: 0800-0FFF}
  - {chip: 6116, name: work, at: 8000-87FF}
  - {chip: 6116, name: loaded, at: 9000-97FF, code: yes}
ports:
  - {device: switches, name: bank, at: 10, value: 5A}
  - {device: latch, name: control, at: 20, readable: yes, clear: yes}
  - {device: lamps, name: lamps, at: 30}
wired:
  - {device: tick, name: tick, rate: 1 kHz}
  - {device: key, name: key}
lines:
  RST 7.5: tick.out
"""
"""The CPU clock is 1 MHz, so a T-state is a microsecond."""

PROGRAM = """
        ORG     0
        JMP     COLD
        ORG     3CH             ; RST 7.5
        PUSH    PSW
        LDA     8000H
        INR     A
        STA     8000H
        POP     PSW
        EI
        RET
        ORG     50H
COLD:   LXI     SP,8800H
        XRA     A
        STA     8000H
        MVI     A,0BH           ; RST 7.5 alone
        SIM
        EI
        ;; HERE
MAIN:   CALL    WORK
        HLT
        JMP     MAIN
WORK:   IN      10H
        OUT     30H
        LXI     H,TEXT
NEXT:   MOV     A,M
        ORA     A
        RZ
        OUT     20H
        INX     H
        JMP     NEXT
        ;; ROUTINES
TEXT:   DB      'tick',0
        ;; LAST
        END     COLD
"""
HERE, ROUTINES, LAST = ";; HERE", ";; ROUTINES", ";; LAST"


def program(*changes: tuple[str, str]) -> Image:
    """The program with each first text, which stands in it once, replaced by the second."""
    return assemble(changed(PROGRAM, changes), "bench.asm").image


def changed(text: str, changes: Sequence[tuple[str, str]]) -> str:
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def examined(
    image: Image,
    *board: tuple[str, str],
    wanted: Wanted | None = None,
    hints: Hints | None = None,
    milliseconds: int = 20,
) -> Report:
    """The report on an image, on the board with such changes."""
    drive = PlainRun(Fraction(milliseconds, 1000)) if milliseconds else None
    description = read_board(changed(BOARD, board), "bench.yaml")
    subject = Subject(image, description, hints=hints or Hints(), drive=drive)
    return report(study(subject, wanted or Wanted()))


def results(found: Report) -> dict[str, Result]:
    """How each check came out that did not find all well."""
    quiet = (Result.GOOD, Result.NOT_CHECKED)
    return {one.name: one.result for one in found.checks if one.result not in quiet}


def notes(found: Report, check: str) -> list[str]:
    """What a check has found, a line a place."""
    one = next(each for each in found.checks if each.name == check)
    return [f"{note.place}: {note.text}" if note.place else note.text for note in one.notes]
