"""Completion and one-line help."""

from pathlib import Path
from typing import Any

import pytest

from emu85.console.grammar import Form
from emu85.console.kinds import Context
from emu85.console.suggest import explain, suggestions


def _nothing(*_: Any) -> None:
    """Suggestions alone are tested."""


FORMS = [
    Form("step [COUNT]", "one machine cycle", _nothing),
    Form("step instruction [COUNT]", "to the next opcode fetch", _nothing),
    Form("step past", "run a CALL", _nothing),
    Form("stop CONDITION", "hold", _nothing),
    Form("stops", "the stops", _nothing),
    Form("pace RATE [by CYCLE]", "so many", _nothing),
    Form("run until ADDRESS", "until", _nothing),
    Form("run for TIME", "for", _nothing),
    Form("load FILE", "load", _nothing),
]
CONTEXT = Context(symbols={"TICK": 0x120, "TOP": 0x80})


def texts(line: str) -> list[str]:
    return [one.text for one in suggestions(line, FORMS, CONTEXT) if one.text]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("st", ["step", "stop", "stops"]),
        ("step ", ["instruction", "past"]),
        ("step i", ["instruction"]),
        ("STEP P", ["past"]),
        ("pace 4 ", ["by"]),
        ("pace 4 by I", ["IOR", "IOW", "INA"]),
        ("run until t", ["TICK", "TOP"]),
        ("run for 2 ", ["us", "ms", "s", "T"]),
        ("run for 2 m", ["ms"]),
        ("xyz ", []),
        ("step past ", []),
    ],
)
def test_what_may_follow(line: str, expected: list[str]) -> None:
    assert texts(line) == expected


def test_conditions_are_completed_by_the_language_of_stops() -> None:
    assert "MW" in texts("stop on M")
    found = {one.text: one for one in suggestions("stop on MR,M", FORMS, CONTEXT)}
    assert found["MW"].replaces == 1
    assert "high" in texts("stop when SOD ")


def test_files_are_completed(tmp_path: Path) -> None:
    (tmp_path / "alpha.hex").touch()
    (tmp_path / "beta").mkdir()
    assert texts(f"load {tmp_path}/al") == [f"{tmp_path}/alpha.hex"]
    assert texts(f"load {tmp_path}/b") == [f"{tmp_path}/beta/"]


def test_help_narrows_as_the_line_grows() -> None:
    def usages(line: str) -> list[str]:
        return [form.usage for form in explain(line, FORMS, CONTEXT)]

    assert usages("step i") == ["step [COUNT]", "step instruction [COUNT]"]
    assert usages("step past") == ["step [COUNT]", "step past"]
    assert usages("pace 4 by ") == ["pace RATE [by CYCLE]"]
    assert usages("xyz") == []
