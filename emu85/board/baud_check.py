"""How long the bits of a sender really are.

A sender in software counts T-states, and a miscounted loop gives bits that are a
little too long or too short; a USART divides its clock, and many crystals give no
baud rate exactly.  The terminal still reads such bits on this bench and fails on
another.  This module measures bits from the characters that go by and says so when
they are off by more than :data:`TOLERANCE`.

Basis of the figures (common practice, no published source): a receiver that finds
the start bit's edge samples the stop bit of an 8N1 character 9.5 bit times later,
so the two ends may differ by half a bit in 9.5 at most, 5.3 %; a receiver that
samples sixteen times a bit finds the edge up to a sixteenth late, which leaves
4.6 %.  About 5 % is thus the most that a link stands in all, both ends together.
3 % for one end leaves the rest to the other end, to slow edges and to noise.

Of a character that a USART sends as a whole, the length is known.  How one is
measured that comes edge by edge: edges are whole bits apart.  The shortest distance
between neighbouring edges gives a first bit time (its number of bits is the
nearest whole one by the nominal bit time, right for errors up to 1/6 where it is
at most 3 bits); the distance from the start edge to the last edge, in whole bits
of that, gives the final one.  A character whose edges lie on no such grid is
not measured.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from emu85.board.description import SerialFormat
from emu85.board.schedule import Moment

TOLERANCE = Fraction(3, 100)
"""Share of the bit time by which a sender may be off before it is told."""
ENOUGH_BITS = 16
"""Bit times that must have been measured before anything is said."""
_REMEMBERED = 64
"""Characters whose mean is taken: the latest."""
_LONGEST_FIRST = 3
_OFF_GRID = Fraction(1, 4)


@dataclass(frozen=True, slots=True)
class BaudNotice:
    """A sender whose bits are too long or too short.

    Attributes:
        bit_time: measured, in T-states; ``nominal`` is what the format asks for.
        baud: measured; ``nominal_baud`` is what the format asks for.
        characters: how many the measure rests on.
    """

    bit_time: Fraction
    nominal: Fraction
    nominal_baud: Fraction
    characters: int

    @property
    def error(self) -> Fraction:
        """By which share the bits are too long (negative: too short)."""
        return self.bit_time / self.nominal - 1

    @property
    def baud(self) -> Fraction:
        """The measured speed."""
        return self.nominal_baud * self.nominal / self.bit_time

    def __str__(self) -> str:
        way = "long" if self.error > 0 else "short"
        return (
            f"bits from the board are {abs(float(self.error)):.1%} too {way}: "
            f"{float(self.bit_time):.1f} T-states, {float(self.baud):.0f} baud instead of "
            f"{float(self.nominal_baud):g} (more than {float(TOLERANCE):.0%}; "
            f"about 5% is the most a link stands in all), over {self.characters} characters"
        )


class BaudCheck:
    """Measures the characters on one line."""

    def __init__(
        self,
        format_: SerialFormat,
        bit_time: Fraction,
        off: Callable[[], None] = lambda: None,
    ) -> None:
        """``bit_time`` is the nominal one, in T-states; ``off()`` is called when there
        comes to be a :attr:`notice`."""
        self._format = format_
        self._off = off
        self._nominal = bit_time
        # The last edge a character can have is the one into its stop bit.
        self._last_edge = 1 + format_.bits + (format_.parity != "N")
        self._edges: list[int] = []
        self._measured: deque[tuple[int, Moment]] = deque()
        self._bits = 0
        self._t_states: Moment = 0
        self._steady: Fraction | None = None
        self._alike = 0
        self._is_off = False

    def clear(self) -> None:
        """Forget everything, as when power comes on."""
        self._edges = []
        self._measured.clear()
        self._bits = self._t_states = 0
        self._steady = None
        self._is_off = False

    def character(self, bit_time: Fraction) -> None:
        """A whole character goes by, its bits so many T-states long."""
        if bit_time is not self._steady:  # quicker than ==
            self._steady, self._alike = bit_time, 0
        if self._alike == _REMEMBERED:
            return  # nothing else is remembered
        self._alike += 1
        self._note(self._last_edge, self._last_edge * bit_time)

    def edge(self, t: int, mark: int) -> None:
        """The line went to mark (1) or space (0) at T-state ``t``."""
        end = (self._last_edge + Fraction(1, 2)) * self._nominal
        if self._edges and t - self._edges[0] > end:
            self._finish()
        if self._edges or not mark:
            self._edges.append(t)

    @property
    def bit_time(self) -> Fraction | None:
        """The mean bit time of the latest characters in T-states; None before any."""
        return Fraction(self._t_states) / self._bits if self._bits else None

    @property
    def notice(self) -> BaudNotice | None:
        """What there is to say about the sender; None while it is within tolerance."""
        bit_time = self.bit_time
        if bit_time is None or self._bits < ENOUGH_BITS:
            return None
        if abs(bit_time / self._nominal - 1) <= TOLERANCE:
            return None
        return BaudNotice(bit_time, self._nominal, self._format.baud, len(self._measured))

    def _note(self, bits: int, t_states: Moment) -> None:
        """A character was measured."""
        self._measured.append((bits, t_states))
        self._bits += bits
        self._t_states += t_states
        if len(self._measured) > _REMEMBERED:
            bits, t_states = self._measured.popleft()
            self._bits -= bits
            self._t_states -= t_states
        was_off, self._is_off = self._is_off, self.notice is not None
        if self._is_off and not was_off:
            self._off()

    def _finish(self) -> None:
        edges, self._edges = self._edges, []
        found = self._measure(edges)
        if found is not None:
            self._steady = None
            self._note(*found)

    def _measure(self, edges: list[int]) -> tuple[int, int] | None:
        """Whole bits and T-states from the start edge to the last; None if off the grid."""
        gaps = [after - before for before, after in pairwise(edges)]
        if not gaps:
            return None
        shortest = round(min(gaps) / self._nominal)
        if not 1 <= shortest <= _LONGEST_FIRST:
            return None
        bit = Fraction(min(gaps), shortest)
        found = None
        for t in edges[1:]:
            bits = round((t - edges[0]) / bit)
            if bits > self._last_edge:  # the next character's start bit
                break
            if not bits or abs((t - edges[0]) / bit - bits) > _OFF_GRID:
                return None
            found = bits, t - edges[0]
            bit = Fraction(t - edges[0], bits) if bits > shortest else bit
        return found
