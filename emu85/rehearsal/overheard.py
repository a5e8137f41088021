"""What the console showed, kept line by line."""

from __future__ import annotations

from emu85.console.grammar import parse
from emu85.console.session import Session
from emu85.console.words import FORMS
from emu85.errors import UserError

WIDTH = 80
"""Columns for which everything is shown here, whatever terminal somebody has."""
_MOST = 10_000
"""Lines of one console line that are kept, the first ones."""


class Overheard:
    """A screen that nobody reads, whose lines are kept.

    Attributes:
        lines: what was shown since :meth:`begin_again`, without blanks at their ends.
    """

    width = WIDTH
    is_terminal = False

    def __init__(self) -> None:
        self.lines: list[str] = []

    def begin_again(self) -> None:
        """Forget what was shown."""
        self.lines = []

    def show(self, text: str = "") -> None:
        """Keep one or more lines."""
        if len(self.lines) < _MOST:
            self.lines += [line.rstrip() for line in text.split("\n")]

    def serial(self, data: bytes) -> None:
        """The board's serial line is listened to elsewhere."""

    def end_serial(self) -> None:
        """Nothing waits."""

    def problem(self, error: UserError | str) -> None:
        """Mistakes are raised here, not shown."""


def shown_again(session: Session, line: str) -> list[str]:
    """What a console line that only looks shows, at the width of a rehearsal.

    Raises:
        UserError: the line cannot be taken.
    """
    command = parse(line, FORMS, session.context)
    if command is None:
        return []
    screen, session.screen = session.screen, (heard := Overheard())
    try:
        command.form.action(session, **command.values)
    finally:
        session.screen = screen
    return heard.lines
