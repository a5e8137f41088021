"""A rehearsal moves the board of a burn check, which sees every machine cycle of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.board import fit, load_board
from emu85.errors import UserError
from emu85.machine import Machine
from emu85.profile import longest_slice
from emu85.rehearsal.drive import RehearsedRun
from tests.rehearsal.stage import lay_out, write

BODY = 'hear "> "\nenter hello\nrun for 30 ms\nheard "hello\\r"\nwait 20 ms\npower\nrun for 5 ms\n'


def machine(folder: Path) -> Machine:
    made = Machine(fit(load_board(str(folder / "bench.yaml"))), trace=2000)
    made.load(folder / "bench.asm")
    return made


def test_it_is_looked_at_often_enough(tmp_path: Path) -> None:
    lay_out(tmp_path)
    made = machine(tmp_path)
    seen: list[int] = []
    driven = RehearsedRun(write(tmp_path, BODY))(made, lambda: seen.append(made.t))
    assert driven.failures == []
    assert driven.about.startswith("the rehearsal test.rehearsal, 0.0")
    gaps = [later - before for before, later in zip([3, *seen], seen, strict=False)]
    assert max(gaps) <= longest_slice(made) + 20
    assert seen[-1] == made.t
    looks = len(seen)
    made.run(t_states=100)
    assert len(seen) == looks


def test_what_differs_is_a_failure(tmp_path: Path) -> None:
    lay_out(tmp_path)
    driven = RehearsedRun(write(tmp_path, "step\nsee A 12\nsee SP 1\n"))(
        machine(tmp_path), lambda: None
    )
    assert driven.failures == [
        "test.rehearsal:5: see A 12",
        "test.rehearsal:6: see SP 1",
    ]


def test_another_board_is_told(tmp_path: Path) -> None:
    lay_out(tmp_path)
    drive = RehearsedRun(write(tmp_path, "step\n", "rehearsal: t\nboard: slate\n"))
    with pytest.raises(UserError, match="for another board") as caught:
        drive(machine(tmp_path), lambda: None)
    assert caught.value.place.line == 2
