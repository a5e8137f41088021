"""All lessons by name."""

from __future__ import annotations

from emu85.errors import UserError, nearest
from emu85.lessons import cycles, loops, pins, stack, status
from emu85.lessons.exercise import Lesson

LESSONS: dict[str, Lesson] = {
    each.LESSON.name: each.LESSON for each in (cycles, loops, status, pins, stack)
}
"""In the order in which they are best taken."""


def lesson_named(name: str) -> Lesson:
    """The lesson of that name.

    Raises:
        UserError: there is none.
    """
    found = LESSONS.get(name.casefold())
    if found is None:
        raise UserError(
            f"no lesson {name!r}", expected=", ".join(LESSONS), nearest=nearest(name, LESSONS)
        )
    return found
