"""A rehearsal moves the board of a burn check, which sees every machine cycle of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.board import fit, load_board
from emu85.errors import UserError
from emu85.machine import Machine
from emu85.profile import Execution, Gathering
from emu85.rehearsal.drive import RehearsedRun
from tests.rehearsal.stage import lay_out, write

BODY = 'hear "> "\nenter hello\nrun for 30 ms\nheard "hello\\r"\nwait 20 ms\nrun for 5 ms\n'


def machine(folder: Path) -> Machine:
    made = Machine(fit(load_board(str(folder / "bench.yaml"))), trace=2000)
    made.load(folder / "bench.asm")
    return made


def test_all_of_it_is_seen_by_who_goes_along(tmp_path: Path) -> None:
    lay_out(tmp_path)
    made = machine(tmp_path)
    execution = Execution()
    with Gathering(made, execution) as gathering:
        driven = RehearsedRun(write(tmp_path, BODY))(made)
    assert driven.failures == []
    assert driven.about.startswith("the rehearsal test.rehearsal, 0.0")
    assert gathering.complete
    execution.finish(made.t)
    assert made.trace.total > made.trace.size  # the ring alone would not have it
    assert execution.records == made.trace.total - 1  # without that of the reset


def test_what_differs_is_a_failure(tmp_path: Path) -> None:
    lay_out(tmp_path)
    driven = RehearsedRun(write(tmp_path, "step\nsee A 12\nsee SP 1\n"))(machine(tmp_path))
    assert driven.failures == [
        "test.rehearsal:5: see A 12; expected A 12, seen A 00",
        "test.rehearsal:6: see SP 1; expected SP 0001, seen SP 0000",
    ]


def test_another_board_is_told(tmp_path: Path) -> None:
    lay_out(tmp_path)
    drive = RehearsedRun(write(tmp_path, "step\n", "rehearsal: t\nboard: slate\n"))
    with pytest.raises(UserError, match="for another board") as caught:
        drive(machine(tmp_path))
    assert caught.value.place.line == 2
    assert caught.value.expected == f"'board: {tmp_path / 'bench.yaml'}'"


def test_a_demo_board_is_told_by_its_name(tmp_path: Path) -> None:
    drive = RehearsedRun(write(tmp_path, "step\n", "rehearsal: t\nboard: slate\n"))
    with pytest.raises(UserError, match="for another board") as caught:
        drive(Machine.from_board("saltmarsh", trace=100))
    assert caught.value.expected == "'board: saltmarsh'"
