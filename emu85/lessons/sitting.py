"""A lesson taken: questions, answers, hints, and what came of each."""

from __future__ import annotations

import enum
import textwrap
from collections.abc import Callable, Iterable, Iterator
from random import Random
from typing import NamedTuple

from emu85.console.drivers import PlainDriver
from emu85.console.screen import Screen
from emu85.console.session import Session
from emu85.console.words import FORMS
from emu85.errors import UserError
from emu85.lessons.bounded import BoundedDriver
from emu85.lessons.exercise import Exercise, Lesson
from emu85.wording import counted

TRIES = 3
"""Answers that are judged before the right one is told."""
_CONSOLE_WORDS = frozenset(form.word for form in FORMS)
_OWN_WORDS = {
    "hint": "help with the answer, plainer each time",
    "again": "the question once more",
    "skip": "the answer, and the next question",
    "quit": "the end of the lesson",
}
_REMADE = 20
"""Times that a question too like the one before is made anew."""


class Outcome(enum.StrEnum):
    """What came of an exercise."""

    RIGHT = "right"
    WRONG = "wrong"
    SKIPPED = "skipped"


class Mark(NamedTuple):
    """One exercise done.

    Attributes:
        number: from 1.
        asked: in a few words.
        answer: the last one given.
        right: what the machine did.
        outcome: right, wrong or skipped.
        tries: answers judged.
        hints: hints taken.
    """

    number: int
    asked: str
    answer: str
    right: str
    outcome: Outcome
    tries: int
    hints: int


class Sitting:
    """Asks the exercises of a lesson one after another.

    Args:
        seed: the same seed asks the same questions.
        lines: what the student enters, line after line; its end ends the sitting.
        screen: where text goes.
        tell: called with each mark as soon as there is one.
        has_keyboard: somebody can hold a board that runs; else it is held after a while.
    """

    def __init__(
        self,
        lesson: Lesson,
        seed: str,
        lines: Iterable[str],
        screen: Screen,
        tell: Callable[[Mark], None],
        *,
        has_keyboard: bool = False,
    ) -> None:
        self._has_keyboard = has_keyboard
        self._last = ""
        self._lesson = lesson
        self._seed = seed
        self._lines = iter(lines)
        self._screen = screen
        self._tell = tell
        self._is_over = False

    def hold(self, count: int) -> list[Mark]:
        """Ask so many; fewer if the student ends it."""
        self._screen.show(f"Lesson {self._lesson.name}: {self._lesson.about}.")
        for paragraph in self._lesson.intro:
            self._say(paragraph)
        self._say(
            f"An answer may be tried {TRIES} times. 'hint' helps, 'skip' goes on, 'again' shows "
            "the question, 'quit' ends; console words that look at the board work as well."
        )
        marks: list[Mark] = []
        for number in range(1, count + 1):
            mark = self._ask(number, count, self._made(number))
            if mark is None:
                break
            self._tell(mark)
            marks.append(mark)
        self._screen.show(_summary(marks))
        return marks

    def _made(self, number: int) -> Exercise:
        """An exercise that is not like the one before."""
        seed = f"{self._lesson.name} {self._seed} {number}"
        exercise = self._lesson.make(Random(seed))
        for attempt in range(_REMADE):
            if (exercise.likeness or exercise.asked) != self._last:
                break
            exercise = self._lesson.make(Random(f"{seed} {attempt}"))
        self._last = exercise.likeness or exercise.asked
        return exercise

    def _ask(self, number: int, of: int, exercise: Exercise) -> Mark | None:
        asking = _Asking(exercise, self._screen, has_keyboard=self._has_keyboard)
        self._screen.show()
        self._screen.show(f"Exercise {number} of {of}")
        asking.show()
        for line in self._lines:
            if line.strip().casefold() == "quit":
                return None
            asking.take(line.strip())
            if asking.outcome:
                return Mark(
                    number,
                    exercise.asked,
                    asking.answer,
                    exercise.right(),
                    asking.outcome,
                    asking.tries,
                    asking.hints,
                )
        return None

    def _say(self, text: str) -> None:
        for line in textwrap.wrap(text, self._screen.width):
            self._screen.show(line)


class _Asking:
    """One exercise being asked.

    Attributes:
        outcome: None while it goes on.
        answer, tries, hints: as in :class:`Mark`.
    """

    def __init__(self, exercise: Exercise, screen: Screen, *, has_keyboard: bool) -> None:
        self.outcome: Outcome | None = None
        self.answer = ""
        self.tries = self.hints = 0
        self._exercise = exercise
        self._screen = screen
        machine = exercise.machine
        driver = PlainDriver() if has_keyboard else BoundedDriver(machine, screen)
        self._session = Session(machine, screen, driver=driver)
        if exercise.words is not None:
            self._session.forms = [form for form in FORMS if form.word in exercise.words]
        exercise.begin()

    def show(self) -> None:
        """The question, and what an answer looks like."""
        for line in (*self._exercise.task, f"Answer: {self._exercise.form}"):
            self._say(line)

    def take(self, line: str) -> None:
        """A line that the student has entered."""
        word = line.partition(" ")[0].casefold()
        if not word:
            return
        if word == "again":
            self.show()
        elif word == "hint":
            self._hint()
        elif word == "skip":
            self._finish(Outcome.SKIPPED)
        elif word in _CONSOLE_WORDS:
            self._look(word, line)
        else:
            self._judge(line)

    def _hint(self) -> None:
        hints = self._exercise.hints
        self.hints = min(self.hints + 1, len(hints))
        self._say(hints[self.hints - 1])

    def _look(self, word: str, line: str) -> None:
        words = self._exercise.words
        if line.casefold() == "help":
            self._show_own_words()
        if words is None or word in words:
            self._session.attempt(line)
            return
        self._screen.problem(
            UserError(
                f"{word!r} is not for this exercise: it would move the board or give it away",
                expected=f"an answer; {', '.join(_OWN_WORDS)}; or {', '.join(sorted(words))}",
            )
        )

    def _show_own_words(self) -> None:
        self._screen.show("In a lesson")
        for word, about in _OWN_WORDS.items():
            self._screen.show(f"  {word:<26} {about}")

    def _judge(self, answer: str) -> None:
        try:
            judgement = self._exercise.judge(answer)
        except UserError as error:
            self._screen.problem(error)
            return
        self.answer = answer
        self.tries += 1
        if judgement.is_right:
            self._screen.show("Right.")
            self._finish(Outcome.RIGHT)
            return
        self._say(f"No. {judgement.remark}".strip())
        if self.tries == TRIES:
            self._finish(Outcome.WRONG)

    def _finish(self, outcome: Outcome) -> None:
        self.outcome = outcome
        if outcome is not Outcome.RIGHT:
            self._say(f"The answer is {self._exercise.right()}.")
        for line in self._exercise.explain(self._screen.width):
            self._screen.show(line)
        self._session.close()

    def _say(self, text: str) -> None:
        """A paragraph; a line that is set out in columns stays as it is."""
        if text.startswith(" ") or len(text) <= self._screen.width:
            self._screen.show(text)
            return
        for line in textwrap.wrap(text, self._screen.width):
            self._screen.show(line)


def _summary(marks: list[Mark]) -> str:
    def of(outcome: Outcome) -> Iterator[Mark]:
        return (mark for mark in marks if mark.outcome is outcome)

    right = list(of(Outcome.RIGHT))
    at_once = sum(mark.tries == 1 and not mark.hints for mark in right)
    text = f"{len(right)} of {counted(len(marks), 'exercise')} right"
    return f"{text}, {at_once} of them at once and without a hint." if right else f"{text}."
