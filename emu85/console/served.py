"""A motion between whose slices the links to the outside are served."""

from __future__ import annotations

from emu85.console.motion import Motion
from emu85.links import Links
from emu85.machine import Held


class Served:
    """Moves as another motion does, and pumps links after every slice.

    Not before the first: firmware that has just been started sets up its USART then.
    """

    def __init__(self, motion: Motion, links: Links) -> None:
        self._motion = motion
        self._links = links

    @property
    def state(self) -> str:
        """One word on what is going on."""
        return self._motion.state

    def advance(self) -> Held | None:
        held = self._motion.advance()
        self._links.pump()
        return held

    def wait(self) -> float:
        return self._motion.wait()

    def hold(self) -> None:
        self._motion.hold()
