"""A free-running pulse, as a crystal divider or a mains detector gives.

Commonly wired to RST 7.5, whose latch takes each rising edge; a common board
circuit, no published source.

Modelled: pulses of an exact mean rate from power-on, of a given length; RESET does
not touch them.
Not modelled: jitter and drift.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Site, at_least_one_t
from emu85.board.kinds import TIME, Key, frequency
from emu85.board.quantities import hertz_text
from emu85.board.schedule import nearest_t
from emu85.board.square_wave import SquareWave
from emu85.errors import UserError


class Tick(Device):
    """Pin ``out`` rises at every whole period after power-on; reset does not touch it.

    Edge ``n`` is at the T-state nearest to ``n`` exact periods, so the mean rate
    is exact however long it runs.
    """

    kind = "tick"
    about = "a free-running periodic pulse"
    options = (
        Key(
            "rate",
            frequency(Fraction(1, 100), Fraction(10_000_000)),
            "pulses a second",
            required=True,
        ),
        Key("pulse", TIME, "how long each is high", None, "half the period"),
    )
    outputs: ClassVar[Mapping[str, str]] = {"out": "high for the length of each pulse"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._rate: Fraction = options["rate"]
        period = at_least_one_t(1 / self._rate / 2, site.clock, "half a period") * 2
        given: Fraction | None = options["pulse"]
        width = period / 2 if given is None else at_least_one_t(given, site.clock, "the pulse")
        if period - width < 1:
            raise UserError(
                "the pulse is as long as the period", expected="a T-state of low at least"
            )
        self._period = period
        self._width = Fraction(nearest_t(width))
        self._wave = SquareWave(period, period, self._width)

    def power(self) -> None:
        start = self.site.schedule.now + self._period
        self._wave = SquareWave(self._period, start, self._width)
        self.site.drive("out", 0)
        self.site.drive_clock("out", self._period, start, self._width)

    @property
    def count(self) -> int:
        """Pulses that have begun since power-on."""
        return (self._wave.next_edge(self.site.schedule.now) + 1) // 2

    def state(self) -> str:
        return f"{hertz_text(self._rate)}, {self.count} pulses"
