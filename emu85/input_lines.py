"""The CPU's input lines as a board drives them, and when the CPU sees it."""

from __future__ import annotations

from emu85.board.schedule import Schedule
from emu85.bus.lines import Line
from emu85.cpu.processor import Processor


class InputLines:
    """Passes levels on to the CPU; those that a write changes come one cycle later.

    WR rises in the last T-state of a cycle (8085AH data sheet, t CL; value from
    memory), after the inputs have been sampled for the cycle that follows.  As an
    event of that T-state the change is seen one cycle later.

    Attributes:
        is_writing: the board is being told of a write that has just ended.
    """

    NOT_STATE = frozenset({"_cpu", "_schedule"})

    def __init__(self, cpu: Processor, schedule: Schedule) -> None:
        self.is_writing = False
        self._cpu = cpu
        self._schedule = schedule
        self._late: list[tuple[Line, int, int]] = []

    def power(self) -> None:
        """Forget what has not been passed on."""
        self.is_writing = False
        self._late.clear()

    def drive(self, line: Line, level: int) -> None:
        """Put a line at 0 or 1 as of ``schedule.now``.

        Raises:
            ValueError: if ``line`` is not an input.
        """
        now = self._schedule.now
        if self.is_writing or self._late:
            if not self._late:
                self._schedule.at(now, self._drive_late)
            self._late.append((line, level, now))
        else:
            self._cpu.drive(line, level, now)

    def _drive_late(self) -> None:
        late, self._late = self._late, []
        for line, level, t in late:
            self._cpu.drive(line, level, t)
