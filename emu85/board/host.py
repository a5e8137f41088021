"""What a board may ask of the machine that runs it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

from emu85.board.schedule import Schedule
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.stops import Stop, StopSet

StopListener = Callable[[Stop, int], None]
"""Called with a stop that has hit and the T-state at which its machine cycle began."""


class Reached(NamedTuple):
    """What a bus cycle finds where it goes.

    Attributes:
        waits: wait states of the slowest chip that is selected there.
        answers: whether any chip gives the byte, or takes it.
    """

    waits: int
    answers: bool


class Host(Protocol):
    """The machine as a board sees it.

    Attributes:
        schedule: the clock in T-states (``schedule.now``) and the deadlines.
        stop_listeners: each is called with every stop that hits.
    """

    schedule: Schedule
    stop_listeners: list[StopListener]

    @property
    def stops(self) -> StopSet:
        """The stops of the machine; another set may be put in its place."""

    def drive(self, line: Line, level: int) -> None:
        """Put an input line (one of ``bus.lines.INPUTS``) at 0 or 1 as of ``schedule.now``.

        Edges set the RST 7.5 and TRAP latches even when the line falls again
        before the CPU looks.
        """

    def reached(self, kind: Cycle, address: int) -> Reached:
        """What a bus cycle (MR, MW, IOR or IOW) at an address, or a port, finds."""

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        """One bus cycle by a bus master at ``schedule.now``, while HLDA is high.

        It goes through the same map as the CPU's own, devices answer it, and it
        stands on the trace with HLDA set.

        Args:
            kind: MR, MW, IOR or IOW.
            address: 0 to FFFF, or a port 0 to FF.
            data: the byte of a write; None for a read.
            noted: False for the other side of a cycle that is on the trace already, as
                when a DMA chip strobes memory and a port at once.
            waits: wait states that the bus master puts into it.

        Returns:
            The byte that was on the data bus.
        """

    def note(self, description: str, where: str) -> None:
        """Count a finding that is no bus cycle's, as of ``schedule.now``.

        Args:
            description: what happened, in words; the same words for the same thing.
            where: what it happened to, as the board file names it.
        """

    def ask_hold(self) -> None:
        """Have the machine hold soon, as for a request of the user."""

    def ask_pace(self, steps: int) -> None:
        """Have whoever runs the machine pace it by so many machine cycles a second."""

    def ask_full_speed(self) -> None:
        """End the pace."""
