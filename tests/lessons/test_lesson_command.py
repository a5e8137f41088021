"""``emu85 lesson`` as a class uses it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from emu85.cli import main
from tests.console.test_command_line import emu85


def test_lessons_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson"]) == 0
    names = [line.split()[0] for line in capsys.readouterr().out.splitlines()]
    assert names == ["cycles", "loops", "status", "pins", "stack"]


def test_a_class_has_the_same_questions(tmp_path: Path) -> None:
    for name, lines in (("Ann", "1\nskip\nskip\n"), ("Bob", "skip\nquit\n")):
        status, out, err = emu85(
            "lesson", "loops", "--seed", "monday", "--student", name, "--scores", "class.csv",
            lines=lines, cwd=tmp_path,
        )  # fmt: skip
        assert (status, err) == (0, "")
        assert "lesson> skip" in out
        assert "asks the same questions" not in out
    with (tmp_path / "class.csv").open(newline="") as stream:
        found = list(csv.DictReader(stream))
    assert [row["student"] for row in found] == ["Ann", "Ann", "Bob"]
    assert found[0]["asked"] == found[2]["asked"]
    assert [row["tries"] for row in found] == ["1", "0", "0"]


def test_without_a_seed_it_is_told(tmp_path: Path) -> None:
    _, out, _ = emu85("lesson", "cycles", lines="quit\n", cwd=tmp_path)
    assert "asks the same questions again" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["cyles"], "no lesson 'cyles'; expected cycles, loops"),
        (["cycles", "--count", "0"], "0 is out of range"),
        (["cycles", "--count", "some"], "'some' is not a number"),
        (["--seed", "1"], "no lesson is named"),
        (["cycles", "--scores", "no/where.csv"], "the scores cannot be written"),
    ],
)
def test_mistakes(words: list[str], message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson", *words]) == 2
    assert message in capsys.readouterr().err
