"""The firmware that is shipped has no fault, and none is told of it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from emu85.board import fit, load_board
from emu85.board.shelf import board_names, folder
from emu85.burn import Hints, PlainRun, Result, Subject, Wanted, report, study
from emu85.burn.areas import Use
from emu85.burn.chips import part_named
from emu85.firmware import read_image
from emu85.rehearsal.drive import RehearsedRun
from tests.burn.bench import results

CHIPS = {"slate": "2716", "breakwater": "2716", "saltmarsh": "2764", "gantry": "27128"}


@pytest.mark.parametrize("board", board_names())
@pytest.mark.parametrize("seconds", [0, 3])
def test_no_alarm(board: str, seconds: int) -> None:
    description = load_board(board)
    firmware = fit(description).firmware
    assert firmware is not None
    drive = PlainRun(Fraction(seconds)) if seconds else None
    subject = Subject(read_image(firmware), description, drive=drive)
    found = report(study(subject, Wanted(part=part_named(CHIPS[board]))))
    assert results(found) == {}
    assert found.verdict == "fit to burn"
    asked = [one.name for one in found.checks if one.result is Result.NOT_CHECKED]
    limits = ["stored-sum", "expected-sum", "run-coverage", "run-wait", "run-stack-left"]
    assert [name for name in asked if seconds] == (limits if seconds else [])


@pytest.mark.parametrize("board", ["gantry", "saltmarsh"])
def test_no_alarm_on_the_monitor(board: str) -> None:
    image = read_image(folder("firmware_examples") / f"quay-{board}.asm")
    subject = Subject(image, load_board(board), drive=PlainRun(Fraction(1)))
    found = report(study(subject, Wanted(part=part_named(CHIPS[board]))))
    assert results(found) == {}


def test_words_of_the_tide_gauge_are_reached_once_their_table_is_told() -> None:
    """WORDS goes to them by PCHL, from a table in which texts stand between the addresses."""
    description = load_board("saltmarsh")
    firmware = fit(description).firmware
    assert firmware is not None
    image = read_image(firmware)
    names = ("DLEVEL", "DLOG", "DTIME", "DALARM", "DBEEP", "DFORGET", "DHELP")
    hints = Hints(tuple(image.symbols[name] for name in names))
    found = report(study(Subject(image, description, hints=hints), Wanted()))
    assert results(found) == {}
    assert found.total(Use.UNREACHED) == 0
    assert len(found.unknown) == 1
    assert "WFOUND" in found.unknown[0]


@pytest.mark.parametrize("board", ["gantry", "saltmarsh"])
def test_the_monitors_own_rehearsal_is_no_alarm(board: str) -> None:
    """It writes to ROM on purpose, and on saltmarsh runs what stands in RAM: told as accepted."""
    files = folder("firmware_examples")
    drive = RehearsedRun(files / f"quay-{board}.rehearsal")
    subject = Subject(read_image(files / f"quay-{board}.asm"), load_board(board), drive=drive)
    found = report(study(subject, Wanted(part=part_named(CHIPS[board]))))
    assert set(results(found).values()) == {Result.ACCEPTED}
    assert found.verdict.startswith("fit to burn")


def test_a_finding_that_the_rehearsal_does_not_expect_is_a_fault(tmp_path: Path) -> None:
    """The same rehearsal, its last line gone, which names what the board is to notice."""
    files = folder("firmware_examples")
    lines = (files / "quay-gantry.rehearsal").read_text().splitlines()
    kept = [line for line in lines if not line.startswith("see findings")]
    assert len(kept) < len(lines)
    file = tmp_path / "unexpecting.rehearsal"
    file.write_text("\n".join(kept))
    image = read_image(files / "quay-gantry.asm")
    subject = Subject(image, load_board("gantry"), drive=RehearsedRun(file))
    noticed = ("run-rom-writes", "run-lost-writes", "run-floating")
    assert results(report(study(subject, Wanted()))) == dict.fromkeys(noticed, Result.FAULT)
