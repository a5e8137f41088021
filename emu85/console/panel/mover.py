"""Moves the board for the panel, and has every move kept as a console line.

So what is done on the panel can be recorded and rehearsed like anything else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

from emu85.console.grammar import parse
from emu85.console.motion import Motion, Pace, Steps
from emu85.console.panel.scene import Mode
from emu85.console.session import Session
from emu85.machine import Held, Reason


class Mover:
    """One motion at most, a slice at a time."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._motion: Motion | None = None
        self._line = ExitStack()

    @property
    def mode(self) -> Mode:
        """What the board does."""
        if self._motion is None:
            return Mode.HELD
        is_paced = isinstance(self._motion, Pace) or self._session.machine.pace
        return Mode.PACING if is_paced else Mode.RUNNING

    @property
    def is_at_own_pace(self) -> bool:
        """Whether a pace of the panel's goes on, not one that the firmware asked for."""
        return isinstance(self._motion, Pace)

    def run(self) -> None:
        """Run from now on."""
        self._begin("run", lambda: self._session.free_run(hears=True))

    def pace(self, rate: float) -> None:
        """Make so many steps a second from now on."""
        self._begin(f"pace {rate:g}", lambda: Pace(self._session.machine, rate, None, lambda: None))

    def step(self, line: str, move: Callable[[], Held]) -> None:
        """Make a step, as the console line does."""
        with self.at_rest(line):
            self._session.move(Steps(self._session.machine, move))

    @contextmanager
    def at_rest(self, line: str) -> Iterator[None]:
        """Do in the block what the console line does, while nothing moves."""
        self.hold()
        with self._kept(line):
            yield

    def advance(self) -> Held | None:
        """Let the motion go on by a slice; how it ended, or None."""
        if self._motion is None:
            return None
        held = self._motion.advance()
        self._session.serve()
        if held is not None:
            self._end(held)
        return held

    def wait(self) -> float:
        """Seconds to let pass before the next slice."""
        if self._motion is None:
            return self._session.attend() or _AT_REST
        return self._motion.wait()

    def hold(self) -> None:
        """End a motion at once: it rests between two slices now."""
        if self._motion is None:
            return
        if self._session.machine.pace:
            self._session.machine.end_pace()
        self._end(Held(Reason.ASKED, self._session.machine.t, ()))

    def _begin(self, line: str, motion: Callable[[], Motion]) -> None:
        self.hold()
        self._line.enter_context(self._kept(line))
        self._motion = motion()

    def _end(self, held: Held) -> None:
        if isinstance(self._motion, Pace):
            self._motion.close()
        self._motion = None
        self._session.lines_done.moved(held, is_free=True, hears=True)
        self._line.close()

    @contextmanager
    def _kept(self, line: str) -> Iterator[None]:
        session = self._session
        command = parse(line, session.forms, session.context)
        assert command is not None
        with session.lines_done.line(line, command, session.pane.name):
            yield


_AT_REST = 0.05
"""Seconds between two looks while the board is held and nothing is joined."""
