"""``emu85 lesson``: exercises on machine cycles, judged by the machine."""

from __future__ import annotations

import argparse
import secrets
import sys
from typing import TYPE_CHECKING

from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.lessons import Lesson

_MOST = 1000
_PROMPT = "lesson> "


def add_options(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("name", nargs="?", help="a lesson; all are listed if left out")
    parser.add_argument("--count", metavar="NUMBER", help="how many exercises")
    parser.add_argument(
        "--seed", metavar="TEXT", help="any text; who has the same is asked the same questions"
    )
    parser.add_argument("--student", metavar="NAME", default="", help="for the scores")
    parser.add_argument(
        "--scores", metavar="FILE", help="a CSV file that gets a row for each exercise"
    )
    parser.set_defaults(action=lesson)


def lesson(options: argparse.Namespace) -> int:
    """Hold a sitting, or list the lessons.

    Returns:
        0.

    Raises:
        UserError: a lesson that is none, a count out of range, or a file that cannot be
            written or holds something else.
    """
    from emu85.lessons import LESSONS, lesson_named

    if options.name is None:
        if options.scores or options.seed or options.count:
            raise UserError("no lesson is named", expected=", ".join(LESSONS))
        width = max(map(len, LESSONS))
        for each in LESSONS.values():
            print(f"{each.name:<{width}}  {each.about}")
        return 0
    return _sit(options, lesson_named(options.name))


def _sit(options: argparse.Namespace, chosen: Lesson) -> int:
    from emu85.console.asked_lines import asked_lines
    from emu85.console.numbers import number
    from emu85.console.screen import PlainScreen
    from emu85.console.start import announce_compilation
    from emu85.lessons.scores import Scores
    from emu85.lessons.sitting import Mark, Sitting

    count = chosen.usual
    if options.count is not None:
        count = number(options.count, 10, 1, _MOST, f"--count with 1 to {_MOST}")
    seed = options.seed or secrets.token_hex(3)
    scores = Scores(options.scores, options.student, chosen.name, seed) if options.scores else None

    def tell(mark: Mark) -> None:
        if scores:
            scores.add(mark)

    announce_compilation()
    screen = PlainScreen()
    lines, has_keyboard = asked_lines(_PROMPT), sys.stdin.isatty()
    Sitting(chosen, seed, lines, screen, tell, has_keyboard=has_keyboard).hold(count)
    if options.seed is None:
        screen.show(f"--seed {seed} asks the same questions again.")
    return 0
