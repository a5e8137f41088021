"""The console word for the memory-access budget."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.cli import main
from emu85.console.suggest import suggestions
from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", COUNTER, tmp_path)


def test_it_shows_what_the_command_prints(slate: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    shown = slate.do("budget")
    main(["budget", "slate"])
    assert shown == capsys.readouterr().out
    assert slate.machine.t == 3  # it takes no board time


def test_one_chip_is_explained(slate: Bench) -> None:
    text = slate.do("budget PROGRAM")
    assert "tAD = (5/2+N)T-225" in text
    assert "work" not in text


def test_an_unknown_chip_is_told_where_it_stands(slate: Bench) -> None:
    with pytest.raises(UserError, match="did you mean 'work'") as told:
        slate.do("budget wrok")
    assert told.value.place.column == 8


def test_chips_are_offered(slate: Bench) -> None:
    offered = {
        one.text for one in suggestions("budget ", slate.session.forms, slate.session.context)
    }
    assert {"program", "work"} <= offered
    assert "lamps" not in offered
