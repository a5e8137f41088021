"""A sounder: a loudspeaker or piezo disc on an output bit.

A common board circuit, no published source.  What it sounds is worked out from
the times at which its input rises.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Site
from emu85.board.quantities import hertz_text

QUIET_AFTER = Fraction(1, 10)
"""Seconds without a rising edge after which it counts as quiet."""


class Sounder(Device):
    """Counts the rising edges at its pin ``drive`` and knows the last period."""

    kind = "sounder"
    about = "a sounder that says at what pitch it is driven"
    inputs: ClassVar[Mapping[str, str]] = {"drive": "each rising edge moves it once"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.edges = 0
        self._rose_at = 0
        self._period = 0

    def power(self) -> None:
        self.edges = self._rose_at = self._period = 0

    def sense(self, pin: str, level: int) -> None:
        if level:
            now = self.site.schedule.now
            self._period = now - self._rose_at if self.edges else 0
            self._rose_at = now
            self.edges += 1

    @property
    def pitch(self) -> Fraction | None:
        """Hertz by the last two rising edges; None while quiet."""
        quiet_for = self.site.schedule.now - self._rose_at
        if not self._period or quiet_for > QUIET_AFTER * self.site.clock:
            return None
        return self.site.clock / self._period

    def state(self) -> str:
        pitch = self.pitch
        sound = f"sounding {hertz_text(pitch)}" if pitch else "quiet"
        return f"{sound}, {self.edges} edges"
