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


def test_a_name_is_looked_up_on_a_board_without_times_too(tmp_path: Path) -> None:
    board = tmp_path / "bare.yaml"
    board.write_text("name: bare\ncrystal: 4 MHz\nmemory:\n  - {chip: 2716, name: x, at: 0}\n")
    bare = Bench(str(board), "        ORG 0\n        HLT\n", tmp_path)
    with pytest.raises(UserError, match=r"there is no chip or device 'foo'.* states times"):
        bare.do("budget foo")
    with pytest.raises(UserError, match="states no times of 'x'"):
        bare.do("budget x")


def test_the_board_itself_can_be_asked_for(tmp_path: Path) -> None:
    bench = Bench("saltmarsh", COUNTER, tmp_path)
    assert "READY in time" in bench.do("budget board")


def test_chips_are_offered(slate: Bench) -> None:
    offered = {
        one.text for one in suggestions("budget ", slate.session.forms, slate.session.context)
    }
    assert {"program", "work", "board"} <= offered
    assert "lamps" not in offered
