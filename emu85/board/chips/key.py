"""A push button with a debounced output.

A common board circuit (a button with a flip-flop against bounce), no published source.

Modelled: a level that follows the hand: pressed for a while, or down and up.
Not modelled: bounce, since the circuit is there to take it away.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Control, Device, Site, at_least_one_t
from emu85.board.kinds import TIME, Key, choice
from emu85.board.schedule import Event, nearest_t


class PushKey(Device):
    """Pin ``out`` shows whether the key is down; the user presses it."""

    kind = "key"
    about = "a push button"
    options = (
        Key("hold", TIME, "how long a press lasts", Fraction(1, 10), "100 ms"),
        Key("pressed", choice("high", "low"), "level of out while it is down", "high", "high"),
    )
    outputs: ClassVar[Mapping[str, str]] = {"out": "the key's level"}
    controls = (
        Control("press", "push it and let go after the hold time"),
        Control("down", "push it and keep it down"),
        Control("up", "let it go"),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._hold = nearest_t(at_least_one_t(options["hold"], site.clock, "the hold time"))
        self._active = 1 if options["pressed"] == "high" else 0
        self._release: Event | None = None
        self.is_down = False

    def power(self) -> None:
        self._release = None
        self._set(False)

    def adjust(self, control: str, value: Any) -> None:
        if self._release:
            self._release.cancel()
            self._release = None
        self._set(control != "up")
        if control == "press":
            self._release = self.site.schedule.after(self._hold, self._let_go)

    def _let_go(self) -> None:
        self._release = None
        self._set(False)

    def _set(self, down: bool) -> None:
        self.is_down = down
        self.site.drive("out", self._active if down else 1 - self._active)

    def state(self) -> str:
        return "down" if self.is_down else "up"
