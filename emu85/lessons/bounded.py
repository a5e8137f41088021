"""Motions in a lesson whose lines come from a pipe: nobody is there to hold the board."""

from __future__ import annotations

import threading

from emu85.console.drivers import PlainDriver
from emu85.console.motion import Motion, Steps
from emu85.console.screen import Screen
from emu85.machine import Held, Machine, Reason

SECONDS = 5
"""Of board time; each exercise is long over by then."""
_STEPS = 20
"""Slices of a motion that is paced by the wall clock."""
_LONGEST_STEP = 3.0
"""Seconds of the wall clock for one step, which may be a CALL to its return."""


class BoundedDriver(PlainDriver):
    """Holds what has not ended by itself after some board time."""

    def __init__(self, machine: Machine, screen: Screen) -> None:
        self._machine = machine
        self._screen = screen

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        if isinstance(motion, Steps):
            return self._step(motion)
        bounded = _Bounded(motion, self._machine)
        held = super().drive(bounded, keyboard=keyboard)
        if not bounded.is_cut:
            return held
        self._tell(f"{SECONDS} s of its time, or {_STEPS} paced steps")
        return held._replace(reason=Reason.LIMIT)

    def _tell(self, after: str) -> None:
        self._screen.show(f"Without a keyboard the board is held after {after}.")

    def _step(self, motion: Steps) -> Held:
        watch = threading.Timer(_LONGEST_STEP, motion.hold)
        watch.daemon = True
        watch.start()
        try:
            held = super().drive(motion)
        finally:
            watch.cancel()
        if held.reason is not Reason.ASKED:
            return held
        self._tell(f"{_LONGEST_STEP:g} s")
        return held._replace(reason=Reason.LIMIT)


class _Bounded:
    """A motion with an end.

    Attributes:
        is_cut: it was held, and did not end by itself.
    """

    def __init__(self, motion: Motion, machine: Machine) -> None:
        self.is_cut = False
        self._motion = motion
        self._machine = machine
        self._end_t = machine.t + round(SECONDS * machine.clock_hz)
        self._steps = 0

    @property
    def state(self) -> str:
        return self._motion.state

    def advance(self) -> Held | None:
        held = self._motion.advance()
        self._steps += 1
        is_over = self._machine.t >= self._end_t
        if held is None and (is_over or (self._is_paced() and self._steps >= _STEPS)):
            self.is_cut = True
            self._motion.hold()
        return held

    def wait(self) -> float:
        return 0.0 if self.is_cut else self._motion.wait()

    def hold(self) -> None:
        self._motion.hold()

    def _is_paced(self) -> bool:
        return self._motion.state.startswith("pacing")
