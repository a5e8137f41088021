"""A crystal oscillator: a steady clock for timers and baud rates.

A common board circuit (a crystal oscillator in a can, or a divider on the CPU
clock), no published source.

Modelled: a square wave of an exact rate from power-on; reset does not touch it.
A clock input is told the rate; any other pin gets each edge at its T-state.
Not modelled: start-up time, tolerance and drift.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Site
from emu85.board.kinds import Key, frequency
from emu85.board.quantities import hertz_text


class Oscillator(Device):
    """Pin ``out`` is a square wave that rises at power-on."""

    kind = "oscillator"
    about = "a steady square wave, to clock timers and serial chips"
    options = (
        Key("rate", frequency(Fraction(1, 100), Fraction(100_000_000)), "its rate", required=True),
    )
    outputs: ClassVar[Mapping[str, str]] = {"out": "the clock"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.rate: Fraction = options["rate"]

    def power(self) -> None:
        self.site.drive("out", 0)
        self.site.drive_clock("out", self.site.clock / self.rate, self.site.schedule.now)

    def state(self) -> str:
        return hertz_text(self.rate)
