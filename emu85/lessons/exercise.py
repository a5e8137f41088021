"""What an exercise is: a board at rest, a question, and a judge that runs the board.

No answer is stored anywhere.  An exercise is made from a random generator; what is right
is found out by letting a machine do what the student was asked about.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import NamedTuple

from emu85.machine import Machine

LOOKING = frozenset(
    {"board", "bus", "code", "findings", "help", "lines", "mem", "ports", "regs", "symbols"}
)
"""Console words that look and move nothing."""


class Judgement(NamedTuple):
    """Whether an answer is right, and what to say of one that is not."""

    is_right: bool
    remark: str = ""


class Exercise(ABC):
    """One question.

    Attributes:
        machine: what the student may look at, and move if ``words`` let him.
        task: the question, a line each.
        asked: the question in a few words, for the scores.
        likeness: what it has in common with questions that should not follow at once;
            ``asked`` if empty.
        form: what an answer looks like.
        hints: help, from vague to plain.
        words: console words that may be used; None for all.
    """

    machine: Machine
    task: Sequence[str]
    asked: str
    likeness: str = ""
    form: str
    hints: Sequence[str]
    words: frozenset[str] | None = LOOKING

    def begin(self) -> None:  # noqa: B027 - most boards rest at power-on
        """Bring ``machine`` to where the question is asked, its past being kept from here on."""

    @abstractmethod
    def judge(self, answer: str) -> Judgement:
        """Compare an answer with what the machine does.

        Raises:
            UserError: it is no answer at all; that counts as no attempt.
        """

    @abstractmethod
    def right(self) -> str:
        """What the machine does, written as an answer."""

    @abstractmethod
    def explain(self, width: int) -> Iterator[str]:
        """How it comes to that: lines of ``width`` columns at most."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """A kind of exercise.

    Attributes:
        name: by which it is asked for.
        about: one line.
        intro: what to know before the first question, a paragraph each.
        make: a new exercise.
        usual: how many make a sitting.
    """

    name: str
    about: str
    intro: Sequence[str]
    make: Callable[[Random], Exercise]
    usual: int = 5
