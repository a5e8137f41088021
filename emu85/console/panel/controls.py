"""What the panel's keys do to the session; it knows no terminal."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from emu85.bus.cycles import Cycle
from emu85.console.panel.mover import Mover
from emu85.console.panel.picture import HELD_ON
from emu85.console.panel.room import Room
from emu85.console.panel.scene import (
    Mode,
    Scene,
    Watcher,
    cycle_rows,
    last_cycle,
    stop_texts,
)
from emu85.console.panel.screen import PanelScreen
from emu85.console.session import Session
from emu85.console.throttle import speed_text
from emu85.console.views.held import held_sentence
from emu85.console.views.registers import brief
from emu85.errors import UserError
from emu85.machine import Held
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.stops import Stop

PACES = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0)
"""Steps a second that 'faster' and 'slower' go through."""
_USUAL_PACE = 3


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
        self._mover = Mover(session)
        session.lines_done.let_go()
        self._pace = _USUAL_PACE
        self._hold_on: frozenset[Cycle] = frozenset()
        self._stop: Stop | None = None
        self._watcher = Watcher(session)
        session.throttle.is_uneven = True
        self._actions: dict[str, Callable[[], None]] = {
            "space": self._run_or_hold,
            "s": self._step,
            "i": self._step_instruction,
            "b": self._back,
            "p": self._pace_or_hold,
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
        return self._mover.mode is not Mode.HELD

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
        held = self._mover.advance()
        if held is not None:
            self._tell(held)
        return self._mover.wait()

    def close(self) -> None:
        """Hold the board and take away what is the panel's own."""
        try:
            self._mover.hold()
        finally:
            self._set_stop(frozenset())
            self._session.throttle.is_uneven = False

    def scene(self, room: Room) -> Scene:
        """What there is to show where there is so much room."""
        session, machine = self._session, self._session.machine
        address, data, cycle, code = last_cycle(session)
        mode = self._mover.mode
        self._watcher.look(is_still=mode is not Mode.RUNNING)
        head, rows = cycle_rows(session, room)
        return Scene(
            board=machine.board.name,
            mode=mode,
            t=machine.t,
            seconds=machine.t / machine.clock_hz,
            speed=speed_text(session.throttle.factor),
            pace=machine.pace or PACES[self._pace],
            glow=self._watcher.glow,
            figures=self._watcher.figures,
            address=address,
            data=data,
            cycle=cycle,
            code=code,
            registers=brief(machine),
            hold_on=self._hold_on,
            stops=stop_texts(session),
            head=head,
            rows=rows,
            serial_end=session.pane.name,
            serial=self._screen.serial_lines(room.rows),
            is_typing=self.is_typing,
            message=self._screen.message,
        )

    # --- actions ------------------------------------------------------------------

    def _run_or_hold(self) -> None:
        if self.is_moving:
            self._mover.hold()
        else:
            self._mover.run()

    def _pace_or_hold(self) -> None:
        if self._mover.is_at_own_pace:
            self._mover.hold()
        else:
            self._mover.pace(PACES[self._pace])

    def _change_pace(self, by: int) -> None:
        self._pace = min(max(self._pace + by, 0), len(PACES) - 1)
        if self._mover.is_at_own_pace:
            self._mover.pace(PACES[self._pace])

    def _step(self) -> None:
        self._mover.step("step", self._session.machine.step)

    def _step_instruction(self) -> None:
        self._mover.step("step instruction", self._session.machine.step_instruction)

    def _back(self) -> None:
        history = self._session.history
        with self._mover.at_rest("back"):
            history.back_cycles(1)
        ago = history.latest_t - self._session.machine.t
        self._screen.message = f"{counted(ago, 'T-state')} before the newest moment."

    def _reset(self) -> None:
        was_running, was_pacing = self.is_moving, self._mover.is_at_own_pace
        with self._mover.at_rest("reset"):
            self._session.machine.reset()
        if was_pacing:
            self._mover.pace(PACES[self._pace])
        elif was_running:
            self._mover.run()
        self._screen.message = "RESET IN was low for a moment."

    def _type(self) -> None:
        if not self._session.pane.name:
            raise UserError("this board has no serial line for the keys")
        self.is_typing = True

    def _leave(self) -> None:
        self.is_over = True

    def _toggle(self, cycle: Cycle) -> None:
        self._set_stop(self._hold_on ^ {cycle})

    # --- the panel's own stop ------------------------------------------------------------

    def _set_stop(self, hold_on: frozenset[Cycle]) -> None:
        stops = self._session.machine.stops
        if self._stop is not None:
            stops.drop_unlisted(self._stop)
            self._stop = None
        self._hold_on = hold_on
        if hold_on:
            names = ",".join(cycle.name for cycle in HELD_ON if cycle in hold_on)
            self._stop = stops.add_unlisted(f"on {names}")

    def _tell(self, held: Held) -> None:
        """Say why the board is held."""
        others = tuple(stop for stop in held.stops if stop is not self._stop)
        if self._stop in held.stops and not others:
            kind, _, text = last_cycle(self._session)[2].partition(" ")
            self._screen.message = f"Held on {kind}: {text.strip()}."
            return
        self._screen.message = held_sentence(held._replace(stops=others), self._session.machine)
