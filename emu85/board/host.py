"""What a board may ask of the machine that runs it."""

from __future__ import annotations

from typing import Protocol

from emu85.board.schedule import Schedule
from emu85.bus.lines import Line


class Host(Protocol):
    """The machine as a board sees it.

    Attributes:
        schedule: the clock in T-states (``schedule.now``) and the deadlines.
    """

    schedule: Schedule

    def drive(self, line: Line, level: int) -> None:
        """Put an input line (one of ``bus.lines.INPUTS``) at 0 or 1 as of ``schedule.now``.

        Edges set the RST 7.5 and TRAP latches even when the line falls again
        before the CPU looks.
        """
