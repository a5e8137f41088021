"""Seven-segment digits: latched, or scanned through port pins.

Common board circuits, no published source: a latch for each digit; or digits with
common cathodes or anodes, whose segment lines are shared and whose digit lines are
switched one after another, faster than the eye sees.

Modelled: ``digits``, a register for each digit, cleared by reset; ``port-digits``, the
segment lines ``a`` to ``g`` and ``dp`` and the digit lines ``dig0`` to ``dig7`` as pins,
seen as the eye does: a segment is lit if within the last ``lasts`` it had a fair share
of the light of the brightest, so that scanned digits read as text and the moment in
which a digit line changes over does not.

Not modelled: brightness in shades; digits that burn out when scanning stops (the text
then shows the one that is still driven).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Register, Site, at_least_one_t
from emu85.board.kinds import TIME, Key, choice, count
from emu85.board.schedule import nearest_t
from emu85.board.segments import NAMES, ORDER, STRAIGHT, arranged, text_of

MOST = 8
FAIR_SHARE = 5
"""A segment with less than one so-many-th of the brightest one's light looks dark."""
LIT_BY = choice("1", "0")


class LatchedDigits(Device):
    """A pattern of segments for each digit."""

    kind = "digits"
    about = "seven-segment digits with a latch each, cleared by reset"
    options = (
        Key("digits", count(1, MOST), "how many there are", MOST, "8"),
        Key("segments", ORDER, "the segments on bits 0 to 7", STRAIGHT, NAMES),
        Key("lit by", LIT_BY, "the bit value that lights a segment", "1", "1"),
    )
    registers = tuple(
        Register(f"digit {n}", "a bit for each segment; digit 0 on the left", written=True)
        for n in range(MOST)
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._count: int = options["digits"]
        self._order: tuple[int, ...] = options["segments"]
        self._invert = 0xFF if options["lit by"] == "0" else 0
        self._patterns = [0] * self._count

    def power(self) -> None:
        self.reset()

    def reset(self) -> None:
        self._patterns = [arranged(self._invert, self._order)] * self._count

    def write(self, register: int, value: int) -> None:
        if register < self._count:
            self._patterns[register] = arranged(value ^ self._invert, self._order)

    @property
    def text(self) -> str:
        """What the digits show, from left to right."""
        return text_of(self._patterns)

    def state(self) -> str:
        return f"[{self.text}]"


class PortDigits(Device):
    """Lines that light segments, and what the eye makes of the last moments."""

    kind = "port-digits"
    about = "seven-segment digits scanned through pins"
    options = (
        LatchedDigits.options[0],
        Key("segment on", choice("high", "low"), "level that lights a segment", "high", "high"),
        Key("digit on", choice("high", "low"), "level that lights a digit", "low", "low"),
        Key("lasts", TIME, "how long the eye keeps what it saw", Fraction(1, 20), "50 ms"),
    )
    inputs: ClassVar[Mapping[str, str]] = {
        **{letter: f"segment {letter}" for letter in NAMES[:7]},
        "dp": "the point",
        **{f"dig{n}": f"digit {n}, 0 on the left" for n in range(MOST)},
    }
    _lines: ClassVar[tuple[str, ...]] = (*NAMES[:7], "dp", *(f"dig{n}" for n in range(MOST)))

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._count: int = options["digits"]
        segments = 0xFF if options["segment on"] == "low" else 0
        digits = 0xFF if options["digit on"] == "low" else 0
        self._invert = segments | digits << 8
        self._lasts = nearest_t(at_least_one_t(options["lasts"], site.clock, "what the eye keeps"))
        self._bits = {pin: 1 << n for n, pin in enumerate(self._lines) if site.is_wired(pin)}
        self._start_cold()

    def _start_cold(self) -> None:
        self._word = self._invert  # lines without a wire light nothing
        self._seen: deque[tuple[int, int]] = deque([(0, self._word)])

    def power(self) -> None:
        self._start_cold()

    def sense(self, pin: str, level: int) -> None:
        bit = self._bits.get(pin, 0)
        self._word = self._word | bit if level else self._word & ~bit
        seen, now = self._seen, self.site.schedule.now
        if seen[-1][0] == now:
            seen[-1] = (now, self._word)
        else:
            seen.append((now, self._word))
        while len(seen) > 1 and seen[1][0] <= now - self._lasts:
            seen.popleft()

    @property
    def text(self) -> str:
        """What the eye sees now, from left to right."""
        light = self._light()
        least = max(max(light.values(), default=0), 1)
        lit = [key for key, time in light.items() if time * FAIR_SHARE >= least]
        return text_of(
            [sum(1 << bit for digit, bit in lit if digit == each) for each in range(self._count)]
        )

    def _light(self) -> dict[tuple[int, int], int]:
        """T-states for which each segment, by digit and bit, was lit within the last moments."""
        end = self.site.schedule.now
        light: dict[tuple[int, int], int] = {}
        for t, word in reversed(self._seen):
            lit = word ^ self._invert
            time = max(end - max(t, self.site.schedule.now - self._lasts), 0)
            end = t
            for digit in range(self._count):
                if not lit >> 8 + digit & 1:
                    continue
                for bit in range(8):
                    if lit >> bit & 1:
                        light[digit, bit] = light.get((digit, bit), 0) + time
        return light

    def state(self) -> str:
        return f"[{self.text}]"
