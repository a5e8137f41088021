"""A sounder: a loudspeaker or piezo disc on an output bit.

A common board circuit, no published source.  What it sounds is worked out from
the times at which its input rises.

Modelled: its pitch; every change of its input, kept with its T-state, which can be
saved as a sound file.
Not modelled: the sound of a particular disc or cone (the file has the input's level).
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar

from emu85.board.device import Control, Device, Site
from emu85.board.kinds import FILE
from emu85.board.quantities import hertz_text
from emu85.board.recording import Recording, by_suffix

QUIET_AFTER = Fraction(1, 10)
"""Seconds without a rising edge after which it counts as quiet."""


class Sounder(Device):
    """Counts the rising edges at its pin ``drive`` and knows the last period."""

    kind = "sounder"
    about = "a sounder that says at what pitch it is driven"
    inputs: ClassVar[Mapping[str, str]] = {"drive": "each rising edge moves it once"}
    controls = (
        Control("save", "write what it sounded to a .wav file", FILE),
        Control("forget", "begin the record anew"),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.edges = 0
        self._rose_at = 0
        self._period = 0
        self.recording = Recording()

    def power(self) -> None:
        self.edges = self._rose_at = self._period = 0
        self.recording.clear()

    def sense(self, pin: str, level: int) -> None:
        now = self.site.schedule.now
        self.recording.note(now, level)
        if level:
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

    def adjust(self, control: str, value: Any) -> None:
        if control == "forget":
            self.recording.clear()
        else:
            self.save(value)

    def save(self, path: Path) -> None:
        """Write what was sounded since the first change to a ``.wav`` file.

        Raises:
            UserError: another suffix, nothing to save, or the file cannot be written.
        """
        by_suffix(path, ".wav")
        self.recording.save_wav(path, self.site.clock, self.site.schedule.now, 0, 1)

    def state(self) -> str:
        pitch = self.pitch
        sound = f"sounding {hertz_text(pitch)}" if pitch else "quiet"
        return f"{sound}, {self.edges} edges"
