"""A motion between whose slices something else is served: links to the outside, a screen."""

from __future__ import annotations

from collections.abc import Callable

from emu85.console.motion import Motion
from emu85.machine import Held


class Served:
    """Moves as another motion does, and serves after every slice.

    Not before the first: firmware that has just been started sets up its USART then.
    """

    def __init__(self, motion: Motion, serve: Callable[[], None]) -> None:
        self._motion = motion
        self._serve = serve

    @property
    def state(self) -> str:
        """One word on what is going on."""
        return self._motion.state

    def advance(self) -> Held | None:
        held = self._motion.advance()
        self._serve()
        return held

    def wait(self) -> float:
        return self._motion.wait()

    def hold(self) -> None:
        self._motion.hold()
