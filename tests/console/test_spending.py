"""Console words that tell where the time goes."""

import json
from pathlib import Path

import pytest

from emu85.errors import UserError
from tests.console.bench import Bench

PROGRAM = """
        ORG     0
        LXI     SP,8800H
SHOW:   OUT     40H
        CALL    DELAY
        JMP     SHOW
DELAY:  NOP
        RET
"""


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", PROGRAM, tmp_path)


def test_nothing_is_told_before_it_is_counted(slate: Bench) -> None:
    for line in ("spent", "spent end", "spent ports", "spent code", "spent to a.html"):
        with pytest.raises(UserError, match="nothing is counted; expected 'spent begin' first"):
            slate.do(line)


def test_what_is_shown(slate: Bench) -> None:
    assert "Counting from T 3" in slate.do("spent begin")
    slate.do("run for 1 ms")
    assert "000B DELAY" in slate.do("spent")
    assert "14.0" in slate.do("spent calls")  # NOP 4, RET 10
    assert "0003 SHOW" in slate.do("spent labels")
    assert "40 lamps" in slate.do("spent ports")
    assert slate.do("spent interrupts") == "Nothing of that kind yet.\n"
    shown = slate.do("spent code DELAY 2").splitlines()
    assert [line.split()[-1] for line in shown] == ["NOP", "RET"]
    times, t_states = map(int, shown[0].split()[:2])
    assert t_states == 4 * times > 0
    assert max(len(line) for line in slate.do("spent").splitlines()) <= 80


def test_going_back_does_not_count_twice(slate: Bench) -> None:
    slate.do("spent begin", "run for 1 ms")
    before = slate.do("spent")
    slate.do("back 30")
    assert slate.do("spent") == before
    slate.do("run for 5 us", "forth")
    assert slate.do("spent") == before
    slate.do("back 30", "put A 12", "run for 1 ms")
    assert "time went back, and on another way" in slate.do("spent")


def test_another_session_loaded_begins_anew(slate: Bench, tmp_path: Path) -> None:
    slate.do("run for 2 ms", f"save {tmp_path / 'later.json'}", "back to 20 us")
    slate.do("spent begin", "run for 100 us", f"load {tmp_path / 'later.json'}", "run for 1 ms")
    text = slate.do("spent")
    assert "counted from" in text


def test_files(slate: Bench, tmp_path: Path) -> None:
    slate.do("spent begin", "run for 1 ms")
    for name in ("a.html", "a.json", "a.txt"):
        assert f"{name}: 2" in slate.do(f"spent to {tmp_path / name}")
    assert json.loads((tmp_path / "a.json").read_text())["bytes of instructions"] == 13
    assert "Listing" in (tmp_path / "a.html").read_text()
    with pytest.raises(UserError, match="does not say what to write"):
        slate.do(f"spent to {tmp_path / 'a.doc'}")


def test_the_end(slate: Bench) -> None:
    slate.do("spent begin", "spent begin", "run for 1 ms", "spent end")
    assert len(slate.machine.companions) == 1  # the history
    with pytest.raises(UserError, match="nothing is counted"):
        slate.do("spent")
