"""What the panel's keys do to the session; it knows no terminal."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import contextmanager
from typing import TYPE_CHECKING

from emu85.bus.cycles import Cycle
from emu85.console.motion import Motion, Pace
from emu85.console.panel.picture import HELD_ON
from emu85.console.panel.scene import (
    Scene,
    Watcher,
    cycle_rows,
    last_cycle,
    registers_text,
    speed_of,
    stop_texts,
)
from emu85.console.panel.screen import PanelScreen
from emu85.console.session import Session
from emu85.console.views.held import held_sentence
from emu85.errors import UserError
from emu85.machine import Held

if TYPE_CHECKING:
    from collections.abc import Iterator

    from emu85.stops import Stop

PACES = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0)
"""Steps a second that 'faster' and 'slower' go through."""
_USUAL_PACE = 3
_FRESH_ROWS = 64


class Controls:
    """The state of the panel, and its actions by the names of their keys.

    Attributes:
        is_typing: keys go to the serial end.
        is_over: the panel is to be left.
    """

    def __init__(self, session: Session, screen: PanelScreen) -> None:
        self.is_typing = False
        self.is_over = False
        self._session = session
        self._screen = screen
        self._motion: Motion | None = None
        self._is_pacing = False
        self._pace = _USUAL_PACE
        self._hold_on: frozenset[Cycle] = frozenset()
        self._stop: Stop | None = None
        self._watcher = Watcher(session)
        self._actions: dict[str, Callable[[], None]] = {
            "space": self._run_or_hold,
            "s": self._step,
            "i": self._step_instruction,
            "b": self._back,
            "p": self._start_pace,
            "+": lambda: self._change_pace(1),
            "-": lambda: self._change_pace(-1),
            "r": self._reset,
            "t": self._type,
            "q": self._leave,
        }
        for number, cycle in enumerate(HELD_ON, 1):
            self._actions[str(number)] = lambda cycle=cycle: self._toggle(cycle)  # type: ignore[misc]

    @property
    def keys(self) -> list[str]:
        """Names of the keys that do something."""
        return list(self._actions)

    @property
    def is_moving(self) -> bool:
        """Whether the board runs or is paced."""
        return self._motion is not None

    def press(self, key: str) -> None:
        """Do what a key does; a mistake becomes the message."""
        self._screen.message = ""
        try:
            self._actions[key]()
        except UserError as error:
            self._screen.problem(error)

    def type(self, data: bytes) -> None:
        """Send what was typed to the serial end."""
        self._session.type_by_hand(data)

    def stop_typing(self) -> None:
        """Keys are the panel's again."""
        self.is_typing = False

    def advance(self) -> float:
        """Let the motion go on by a slice; seconds to wait before the next."""
        motion = self._motion
        if motion is None:
            return self._session.attend() or _AT_REST
        held = motion.advance()
        self._session.serve()
        if held is None:
            return motion.wait()
        self._end_motion(held)
        return 0.0

    def close(self) -> None:
        """Hold the board and take away what is the panel's own."""
        self._hold()
        self._set_stop(frozenset())

    def scene(self, rows: int) -> Scene:
        """What there is to show; ``rows`` machine cycles and serial lines at most."""
        session, machine = self._session, self._session.machine
        address, data, cycle, code = last_cycle(session)
        is_still = self._motion is None or self._is_pacing
        return Scene(
            board=machine.board.name,
            mode="held" if self._motion is None else "pacing" if self._is_pacing else "running",
            t=machine.t,
            seconds=machine.t / machine.clock_hz,
            speed=speed_of(session),
            pace=PACES[self._pace],
            glow=self._watcher.glow(is_still=is_still),
            address=address,
            data=data,
            cycle=cycle,
            code=code,
            registers=registers_text(session),
            hold_on=self._hold_on,
            stops=stop_texts(session),
            rows=cycle_rows(session, min(rows, _FRESH_ROWS)),
            serial_end=session.pane.name,
            serial=self._screen.serial_lines(rows),
            is_typing=self.is_typing,
            message=self._screen.message,
        )

    # --- actions ------------------------------------------------------------------

    def _run_or_hold(self) -> None:
        if self._motion is not None:
            self._hold()
            return
        self._motion = self._session.free_run(hears=True)
        self._is_pacing = False

    def _start_pace(self) -> None:
        was_pacing = self._is_pacing
        self._hold()
        if not was_pacing:
            self._motion = Pace(self._session.machine, PACES[self._pace], None, lambda: None)
            self._is_pacing = True

    def _change_pace(self, by: int) -> None:
        self._pace = min(max(self._pace + by, 0), len(PACES) - 1)
        if self._is_pacing:
            self._hold()
            self._start_pace()

    def _step(self) -> None:
        self._hold()
        with self._told():
            self._session.machine.step()

    def _step_instruction(self) -> None:
        self._hold()
        with self._told():
            self._session.machine.step_instruction()

    def _back(self) -> None:
        self._hold()
        self._session.history.back_cycles(1)
        ago = self._session.history.latest_t - self._session.machine.t
        self._screen.message = f"{ago} T-states before the newest moment"

    def _reset(self) -> None:
        self._session.machine.reset()
        self._screen.message = "RESET IN, for the shortest time the data sheet allows"

    def _type(self) -> None:
        if not self._session.pane.name:
            raise UserError("this board has no serial line for the keys")
        self.is_typing = True

    def _leave(self) -> None:
        self.is_over = True

    def _toggle(self, cycle: Cycle) -> None:
        self._set_stop(self._hold_on ^ {cycle})

    # --- motions and the panel's own stop -----------------------------------------------

    def _set_stop(self, hold_on: frozenset[Cycle]) -> None:
        stops = self._session.machine.stops
        if self._stop is not None:
            stops.drop_unlisted(self._stop)
            self._stop = None
        self._hold_on = hold_on
        if hold_on:
            names = ",".join(cycle.name for cycle in HELD_ON if cycle in hold_on)
            self._stop = stops.add_unlisted(f"on {names}")

    def _hold(self) -> None:
        """End a motion at once: it rests between two slices now."""
        motion, self._motion = self._motion, None
        self._is_pacing = False
        if motion is None:
            return
        if isinstance(motion, Pace):
            motion.close()
        if self._session.machine.pace:
            self._session.machine.end_pace()

    def _end_motion(self, held: Held) -> None:
        self._hold()
        others = tuple(stop for stop in held.stops if stop is not self._stop)
        if self._stop in held.stops and not others:
            self._screen.message = f"Held on {last_cycle(self._session)[2]}."
            return
        self._screen.message = held_sentence(held._replace(stops=others), self._session.machine)

    @contextmanager
    def _told(self) -> Iterator[None]:
        yield
        self._session.tell_news()


_AT_REST = 0.05
"""Seconds between two looks while the board is held and nothing is joined."""
