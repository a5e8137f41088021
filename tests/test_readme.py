"""The README does not go stale: its tour is replayed and compared with what it prints."""

import re
import sys
from pathlib import Path

import pytest

from emu85.console.words import FORMS
from emu85.machine import Machine
from emu85.stops import parse
from tests.tour import README, commands, fences, replay, without_times

TEXT = README.read_text(encoding="utf-8")
_NUMBER = re.compile(r"\d+")


@pytest.mark.skipif(sys.platform == "win32", reason="the tour's commands are for a POSIX shell")
def test_the_tour_prints_what_the_readme_shows(tmp_path: Path) -> None:
    assert without_times(replay(TEXT, tmp_path)) == without_times(TEXT)


def test_the_tour_is_long_enough_to_mean_something() -> None:
    replayed = [f for f in fences(TEXT) if f.info == "console replayed"]
    words = " ".join(command for f in replayed for command in commands(f.body))
    for word in ("emu85 run", "--do", "emu85 board saltmarsh", "emu85 isa", "python "):
        assert word in words


def test_a_changed_output_would_be_noticed(tmp_path: Path) -> None:
    text = "```console replayed\n$ echo 1\n2\n```\n"
    assert replay(text, tmp_path) == "```console replayed\n$ echo 1\n1\n```\n"


def test_the_dialogue_at_the_terminal_is_the_firmwares() -> None:
    """What the sitting shows between the greeting and Ctrl-C comes from the board, digits aside."""
    shown = next(f.body for f in fences(TEXT) if "$ emu85 run --board saltmarsh\n" in f.body
                 and "Held by Ctrl-C" in f.body)  # fmt: skip
    dialogue = shown[shown.index("\nsaltmarsh tide gauge") : shown.index("Held by Ctrl-C")]
    machine = Machine.from_board("saltmarsh")
    machine.load(machine.board.firmware or "")
    assert machine.serial is not None
    machine.run(seconds=1.5)
    for typed in re.findall(r"^tide> (\w+)$", dialogue, re.M):
        machine.serial.send(f"{typed}\r".encode())
        machine.run(seconds=3)
    heard = bytes(machine.serial.received).decode("ascii").replace("\r\n", "\n")
    assert _NUMBER.sub("0", heard).strip() == _NUMBER.sub("0", dialogue).strip()


def test_every_stop_of_the_table_is_one() -> None:
    section = TEXT[TEXT.index("## Stops") : TEXT.index("## Console words")]
    rows = re.findall(r"^\| `stop (.+?)` \|", section, re.M)
    assert len(rows) >= 12
    for text in rows:
        parse(text, symbols={"LEVEL": 0xA00B})


def test_the_table_of_console_words_is_complete() -> None:
    begin = TEXT.index("## Console words")
    section = TEXT[begin : TEXT.index("\n## ", begin + 1)]
    shown = set(re.findall(r"`([^`]+)`", section))
    assert {form.usage for form in FORMS} <= shown
