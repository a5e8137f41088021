"""A lesson taken line by line, and its scores."""

from __future__ import annotations

import csv
import io
import re
from itertools import pairwise
from pathlib import Path

import pytest

from emu85.console.screen import PlainScreen
from emu85.errors import UserError
from emu85.lessons import lesson_named
from emu85.lessons.scores import COLUMNS, Scores
from emu85.lessons.sitting import TRIES, Mark, Outcome, Sitting

SEED = "test"


def sit(lines: list[str], lesson: str = "loops", count: int = 2) -> tuple[list[Mark], str]:
    out = io.StringIO()
    told: list[Mark] = []
    sitting = Sitting(lesson_named(lesson), SEED, lines, PlainScreen(out, width=80), told.append)
    marks = sitting.hold(count)
    assert marks == told
    return marks, out.getvalue()


def right_answers(count: int) -> list[str]:
    marks, _ = sit(["skip"] * count, count=count)
    return [mark.right for mark in marks]


def test_right_answers() -> None:
    one, two = right_answers(2)
    marks, text = sit([one, "1", two])
    assert [(mark.outcome, mark.tries, mark.hints) for mark in marks] == [
        (Outcome.RIGHT, 1, 0),
        (Outcome.RIGHT, 2, 0),
    ]
    assert [mark.answer for mark in marks] == [one, two]
    assert text.count("Right.") == 2
    assert "2 of 2 exercises right, 1 of them at once and without a hint." in text


def test_wrong_answers_end_with_the_right_one() -> None:
    (mark, *_), text = sit(["1"] * TRIES + ["quit"])
    assert (mark.outcome, mark.tries) == (Outcome.WRONG, TRIES)
    assert text.count("It takes longer.") == TRIES
    assert f"The answer is {right_answers(1)[0]}." in text


def test_what_is_no_answer_is_no_try() -> None:
    marks, text = sit(["lots", "-4", "regs", "again", "", "skip", "quit"])
    assert marks[0].tries == 0
    assert "'lots' is not a number; expected a decimal number of T-states" in text
    assert text.count("How many T-states pass") == 3


def test_hints_are_counted_and_do_not_end() -> None:
    (mark,), text = sit(["hint", "hint", "hint", right_answers(1)[0]], count=1)
    assert (mark.hints, mark.outcome) == (2, Outcome.RIGHT)
    assert "Write the T-states" in text and "JNZ takes 10" in text
    assert "at once" in text and "0 of them at once" in text


def test_the_board_is_not_moved_before_the_answer() -> None:
    _, text = sit(["step", "run", "code LOOP 1", "quit"])
    assert text.count("is not for this exercise") == 2
    assert "LOOP:" in text


def test_every_word_may_be_used_where_a_fault_is_hunted() -> None:
    _, text = sit(["back instruction", "step", "who SP", "bus 3", "quit"], "stack")
    assert "before the newest moment" in text
    assert "not for this exercise" not in text


def test_what_may_be_said_is_told() -> None:
    _, text = sit(["step", "quit"], "status")
    said = next(line for line in text.splitlines() if "not for this exercise" in line)
    assert said.endswith("expected an answer; hint, again, skip, quit; or help")


def test_help_lists_what_the_exercise_takes() -> None:
    _, text = sit(["help", "quit"])
    listed = {line.split()[0] for line in text.splitlines() if line.startswith("  ")}
    assert {"hint", "again", "skip", "quit", "regs", "code", "mem"} <= listed
    assert not {"step", "run", "back", "delay", "save"} & listed
    _, text = sit(["help", "quit"], "stack")
    assert "  back [COUNT]" in text and "  hint" in text


@pytest.mark.parametrize("seed", ["k1", "k2", "k3"])
def test_no_question_comes_twice_running(seed: str) -> None:
    out = io.StringIO()
    lines = ["skip"] * 30
    screen = PlainScreen(out, width=200)
    marks = Sitting(lesson_named("pins"), seed, lines, screen, lambda _: None).hold(30)
    places = [mark.asked.partition(", ")[2] for mark in marks]
    kinds = re.findall(r"machine cycle, (.*)\?", out.getvalue())
    assert len(kinds) == len(places) == 30
    both = list(zip(places, kinds, strict=True))
    assert all(one != following for one, following in pairwise(both))


@pytest.mark.parametrize("line", ["run", "pace 60", "run for 100 s", "step past"])
def test_a_run_that_nobody_can_hold_is_held(line: str) -> None:
    _, text = sit([line, "quit"], "stack")
    assert "Without a keyboard the board is held after" in text or line == "step past"
    assert "Ctrl-C" not in text


def test_lines_that_end_end_the_sitting() -> None:
    marks, text = sit(["skip"], count=5)
    assert [mark.outcome for mark in marks] == [Outcome.SKIPPED]
    assert text.rstrip().endswith("0 of 1 exercise right.")


@pytest.mark.parametrize("lesson", ["cycles", "loops", "status", "pins", "stack"])
def test_nothing_is_wider_than_the_screen(lesson: str) -> None:
    _, text = sit(["hint", "hint", "skip"] * 3, lesson, 3)
    assert max(map(len, text.splitlines())) <= 80


def mark(number: int = 1, answer: str = "10") -> Mark:
    return Mark(number, "a loop; DCR B", answer, "12", Outcome.WRONG, 3, 1)


def rows(file: Path) -> list[list[str]]:
    with file.open(newline="") as stream:
        return list(csv.reader(stream))


def test_scores_of_a_class_in_one_file(tmp_path: Path) -> None:
    file = tmp_path / "class.csv"
    ann, bob = (Scores(file, name, "loops", SEED) for name in ("Ann, A.", "=1+1"))
    ann.add(mark())
    bob.add(mark(2, '5"'))
    ann.add(mark(3))
    heading, *found = rows(file)
    assert tuple(heading) == COLUMNS
    assert [row[1:] for row in found] == [
        ["Ann, A.", "loops", SEED, "1", "a loop; DCR B", "10", "12", "wrong", "3", "1"],
        ["'=1+1", "loops", SEED, "2", "a loop; DCR B", '5"', "12", "wrong", "3", "1"],
        ["Ann, A.", "loops", SEED, "3", "a loop; DCR B", "10", "12", "wrong", "3", "1"],
    ]


def test_a_file_of_something_else_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "other.csv"
    file.write_text("a,b\n1,2\n")
    with pytest.raises(UserError, match="holds no scores"):
        Scores(file, "Ann", "loops", SEED)
    assert file.read_text() == "a,b\n1,2\n"


def test_a_folder_takes_no_scores(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="the scores cannot be written"):
        Scores(tmp_path, "Ann", "loops", SEED)
