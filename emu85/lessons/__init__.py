"""Exercises on machine cycles and T-states, judged by running the machine."""

from emu85.lessons.catalogue import LESSONS, lesson_named
from emu85.lessons.exercise import Exercise, Judgement, Lesson

__all__ = ["LESSONS", "Exercise", "Judgement", "Lesson", "lesson_named"]
