"""What has been done at the console since the session began, line after line.

With the board and its firmware this is all that has decided what the machine did: a
recording (:mod:`emu85.rehearsal.recorder`) is made from it.  Characters that come while
the board runs, typed or from a link, come at moments that only the wall clock knows, so
each is kept with its T-state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from emu85.console.grammar import Command
    from emu85.machine import Held, Machine

MOST = 1_000_000
"""Lines and characters kept; a session that has had more can no longer be recorded."""


class Sent(NamedTuple):
    """Characters that came to a serial end from outside the console's own lines."""

    t: int
    end: str
    data: bytes


@dataclass
class DoneLine:
    """One line and what the machine did meanwhile.

    Attributes:
        text: as it was entered; empty for what came from outside between two lines.
        command: what it was taken for; None if there was no line.
        pane: the serial end that the console was at.
        began, ended: T-states.
        held: how the motion ended, if there was one.
        is_free: the motion was no count of steps.
        hears: somebody outside may have typed, so that a halt was waited out.
        is_refused: it ended in a mistake.
        sent: what came from outside meanwhile.
    """

    text: str
    command: Command | None
    pane: str
    began: int
    ended: int
    held: Held | None = None
    is_free: bool = False
    hears: bool = False
    is_refused: bool = False
    sent: list[Sent] = field(default_factory=list)


class LinesDone:
    """All lines of a session.

    Attributes:
        lines: in order; empty once there were more than :data:`MOST`.
        listeners: each is called with every line once it is done.
        is_full: there were more lines than are kept.
    """

    def __init__(self, machine: Machine) -> None:
        self.lines: list[DoneLine] = []
        self.listeners: list[Callable[[DoneLine], None]] = []
        self.is_full = False
        self._machine = machine
        self._now: DoneLine | None = None
        self._count = 0

    @contextmanager
    def line(self, text: str, command: Command, pane: str) -> Iterator[None]:
        """A line is done in the block."""
        t = self._machine.t
        done = self._now = DoneLine(text, command, pane, t, t)
        try:
            yield
        except Exception:
            done.is_refused = True
            raise
        finally:
            self._now = None
            self._keep(done)

    def let_go(self) -> None:
        """Take what comes from now on for no part of the line that is under way.

        It does its work by way of other lines, which are kept before it.
        """
        self._now = None

    def moved(self, held: Held, *, is_free: bool, hears: bool) -> None:
        """A motion has ended."""
        if self._now:
            self._now.held, self._now.is_free, self._now.hears = held, is_free, hears

    def sent(self, end: str, data: bytes) -> None:
        """Characters came to a serial end."""
        t = self._machine.t
        if not data:
            return
        if self._now is None:
            self._keep(DoneLine("", None, "", t, t, sent=[Sent(t, end, data)]))
        else:
            self._count += 1
            self._now.sent.append(Sent(t, end, data))

    def _keep(self, done: DoneLine) -> None:
        done.ended = self._machine.t
        self._count += 1
        self.is_full |= self._count > MOST
        if self.is_full:
            self.lines.clear()
        else:
            self.lines.append(done)
        for listener in list(self.listeners):
            listener(done)
