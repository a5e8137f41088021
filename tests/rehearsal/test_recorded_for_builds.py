"""The usual recording goes with the firmware through its builds, and finds what is wrong."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from emu85.board import shelf
from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.machine import Machine
from emu85.rehearsal import Verdict, rehearse
from emu85.rehearsal.report import report
from tests.rehearsal.stage import FIRMWARE
from tests.rehearsal.test_recorder import Desk

SALTMARSH = (shelf.folder(shelf.FIRMWARE) / "saltmarsh.asm").read_text(encoding="utf-8")
IDLE = "LOOK:"


def gauge(folder: Path, *lines: str, mode: str = "") -> str:
    """What is recorded of some lines at the tide gauge."""
    machine = Machine.from_board("saltmarsh")
    assert machine.board.firmware is not None
    machine.load(machine.board.firmware)
    session = Session(machine, PlainScreen(io.StringIO()))
    for line in (f"record '{folder / 'made.rehearsal'}' {mode}", *lines, "record end"):
        session.execute(line)
    return (folder / "made.rehearsal").read_text()


def on_build(folder: Path, source: str) -> Verdict:
    """The recording on firmware made of a source."""
    (folder / "build.asm").write_text(source, encoding="utf-8")
    return rehearse(folder / "made.rehearsal", firmware=folder / "build.asm")


def changed(old: str, new: str, source: str = SALTMARSH) -> str:
    assert source.count(old) == 1, source.count(old)
    return source.replace(old, new)


def with_a_nop() -> str:
    """One NOP more in the loop in which the gauge waits."""
    return changed(f"\n{IDLE}", f"\n{IDLE}   NOP\n       ")


ASKED = ("run for 1 s", "enter level", "run for 1 s", "mem LEVEL 1")


def test_it_passes_on_a_build_with_another_idle_loop(tmp_path: Path) -> None:
    text = gauge(tmp_path, *ASKED)
    verdict = rehearse(tmp_path / "made.rehearsal")
    assert verdict.passed, report(verdict)
    verdict = on_build(tmp_path, with_a_nop())
    assert verdict.passed, report(verdict)
    assert "\nsee mem LEVEL A6\n" in text
    assert 'heard "level 154\\r\\n"' in text
    assert "T since power" not in text and "see bus" not in text


def test_the_exact_recording_does_not(tmp_path: Path) -> None:
    gauge(tmp_path, *ASKED, mode="exact")
    assert rehearse(tmp_path / "made.rehearsal").passed
    assert not on_build(tmp_path, with_a_nop()).passed


def test_another_value_is_found(tmp_path: Path) -> None:
    gauge(tmp_path, *ASKED)
    verdict = on_build(tmp_path, changed(READ, f"{READ}        XRI     1\n"))
    assert "A6" in [step.text[-2:] for step in verdict.failed]


def test_another_text_is_found(tmp_path: Path) -> None:
    gauge(tmp_path, *ASKED)
    verdict = on_build(tmp_path, changed("tide gauge", "tide gouge"))
    assert any("tide gauge" in step.text for step in verdict.failed)


LOOKED = (
    *("stop on MW at LEVEL", "run", "run", "bus", "find MW at LEVEL", "stops", "who LEVEL"),
    *("run until LOOK", "regs", "code LEVEL 1", "symbols LEVEL", "stops rest 1"),
    *("run for 3 ms", "bus", "code"),
)


def test_looks_are_pinned_by_what_stays(tmp_path: Path) -> None:
    text = gauge(tmp_path, *LOOKED)
    assert rehearse(tmp_path / "made.rehearsal").passed
    verdict = on_build(tmp_path, with_a_nop())
    assert verdict.passed, report(verdict)
    lines = text.splitlines()
    held = [line for line in lines if line.startswith("see held by stop 1 on MW at LEVEL data ")]
    value = held[-1][-2:]
    assert f"see bus MW at LEVEL data {value}" in lines
    assert f'see shown "* MW * {value} * ."' in lines
    assert (
        'see shown "1  armed    on MW at LEVEL (on MW at *)   2 hits, last at T-state *"' in lines
    )
    assert 'see shown "* OF * 32 * . STA LEVEL"' in lines
    assert "see PC LOOK" in lines
    assert any(line.startswith('see shown "*LEVEL') for line in lines)


def test_after_a_timed_hold_the_place_is_not_told(tmp_path: Path) -> None:
    lines = gauge(tmp_path, *LOOKED).splitlines()
    after = lines[lines.index("run for 3 ms") + 1 :]
    seen = {line for line in after if line and line not in ("bus", "code", "see no findings")}
    assert seen <= {"heard nothing"}


READ = "        IN      LEVELAD         ; 11: one wait state; lets the line go low\n"
"""What stands before the third write of LEVEL, which is in the interrupt of the converter."""


@pytest.mark.parametrize(("more", "is_same"), [("NOP", True), ("CMA", False)])
def test_a_stop_with_another_byte_is_found(more: str, is_same: bool, tmp_path: Path) -> None:
    gauge(tmp_path, "stop on MW at LEVEL", "run", "run", "run")
    verdict = on_build(tmp_path, changed(READ, f"{READ}        {more}\n"))
    assert verdict.passed is is_same
    told = [step.text for step in verdict.failed]
    assert is_same or told[0].startswith("see held by stop 1 on MW at LEVEL data ")


def test_the_usual_file_in_full(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    lines = ["stop on MW at 8000", "run", "run for 20 ms", "enter hi", "run for 20 ms", "regs"]
    text = desk.record(*lines, mode="").splitlines()
    registers = next(line for line in text if line.startswith("see A "))
    assert "PC" not in registers
    assert text == [
        *("rehearsal: recorded on bench", "board: bench.yaml", "firmware: bench.asm", ""),
        *("stop on MW at 8000", ""),
        *("run", "see held by stop 1 on MW at 8000 data 3E"),
        *("heard nothing from usart", "heard nothing from other", ""),
        *("run for 20 ms", 'heard from usart "ready\\r\\n"', 'heard from usart "> "'),
        *("heard nothing from usart", "heard nothing from other", ""),
        *("enter hi", ""),
        *("run for 20 ms", 'heard from usart "hi\\r"'),
        *("heard nothing from usart", "heard nothing from other", ""),
        *("regs", registers, "see interrupts disabled", ""),
        "see no findings",
    ]


def test_names_are_the_users(tmp_path: Path) -> None:
    (tmp_path / "more.sym").write_text("GREEN\t30\nLOG\t8000\nSECOND\t8001\n")
    desk = Desk(tmp_path)
    text = desk.record(
        *(f"load '{tmp_path / 'more.sym'}'", "stop on IOW at 21", "run", "stops drop all"),
        *("stop on IOW at green", "run", "bus", "run until SAY", "mem LOG 20", "mem 8001-8001"),
        *("mem PUT+2 1", "mem 8123 1"),
        mode="",
    )
    desk.passes()
    begins = [" ".join(line.split()[:3]) for line in text.splitlines()]
    assert "see PC SAY" in begins
    for name in ("LOG", "LOG+10", "SECOND", "PUT+2", "8123"):
        assert f"see mem {name}" in begins
    lines = text.splitlines()
    assert "see held by stop 1 on IOW at 21 data 4E" in lines
    assert "see held by stop 2 on IOW at GREEN data A5" in lines
    assert "see bus IOW at GREEN data A5" in lines


def test_what_is_just_being_sent_is_told_later(tmp_path: Path) -> None:
    """A character takes 1600 T-states; 16 of silence are 25 600, or 4.2 ms."""
    desk = Desk(tmp_path)
    text = desk.record("run for 2 ms", "run for 1 ms", "run for 9 ms", mode="")
    desk.passes()
    first, second, third = text.split("\n\n")[1:4]
    assert (first, second) == (
        "run for 2 ms\nheard nothing from other",
        "run for 1 ms\nheard nothing from other",
    )
    assert 'heard from usart "ready\\r\\n"' in third and "heard nothing from usart" in third


def test_typing_at_a_running_board_goes_with_the_build(tmp_path: Path) -> None:
    desk = Desk(tmp_path, b"", b"hi", b"\r")
    text = desk.record("talk", before=["run for 20 ms"], mode="")
    desk.passes()
    assert "\nat " not in text and text.count("\nwait ") >= 2
    slower = changed("LOOP:   IN 21H", "LOOP:   NOP\n IN 21H", FIRMWARE)
    slower = changed("        LXI SP,8400H", " LXI SP,8400H\n NOP\n NOP\n NOP", slower)
    (tmp_path / "bench.asm").write_text(slower)
    desk.passes()


def test_what_the_trace_has_forgotten_is_forgotten_again(tmp_path: Path) -> None:
    text = gauge(tmp_path, "run for 1 s", "find MW at LEVEL", mode="exact")
    assert "\ntrace: 1000000\n" in text
    assert rehearse(tmp_path / "made.rehearsal").passed


def test_where_one_goes_back_to_is_pinned(tmp_path: Path) -> None:
    moves: tuple[str, ...]
    moves = ("stop on MW at LEVEL", "run", "run", "step 4", "back stop", "back 3", "step")
    moves += ("back write LEVEL", "back instruction 2", "stops rest 1", "run for 3 ms", "back 2")
    moves += ("stop on MW at LEVEL", "back stop")
    lines = [line for line in gauge(tmp_path, *moves).splitlines() if line]
    assert rehearse(tmp_path / "made.rehearsal").passed
    assert on_build(tmp_path, with_a_nop()).passed
    after = {move: lines[lines.index(move) + 1] for move in moves if lines.count(move) == 1}
    for move in ("step 4", "back 3", "step", "back write LEVEL", "back instruction 2"):
        assert after[move].startswith("see bus "), move
    assert after["back write LEVEL"].startswith("see bus MW at LEVEL data ")
    assert not after["back 2"].startswith("see bus ")  # it goes back from an accident
    first, second = (n for n, line in enumerate(lines) if line == "back stop")
    assert lines[first + 1].startswith("see bus MW at LEVEL data ")
    assert lines[second + 1].startswith("see bus MW at LEVEL data ")
