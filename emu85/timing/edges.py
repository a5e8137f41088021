"""Where within a T-state each edge lies, from a part's AC characteristics.

The data sheet gives limits, not moments: no sooner than, no later than.  One consistent
set of moments is made of them, that of a part which is as slow as it may be:

* ALE falls as late as tLCK lets it, and rises tLL before; control falls tLC after it.
* The address is valid as late as tAC and tAL let it be.
* Control rises with CLK in T3, as it is drawn there, or tCC after its fall if that is later.
  A byte to be read comes as late as tAD, tRD and tLDR let it.  After control has risen it may
  go after tRDH and must be gone after tRAE: it is let go of half-way between the two.  AD0-AD7
  float tAFR after control falls.
* A byte to be written is valid as late as tDW and tWDL let it be.
* READY changes as late as tARY, tLRY and tRYS let it; HOLD changes tHDS before the end of T2,
  and in a halt or hold tHDS before CLK falls for its last T-state.
* HLDA changes tHACK before CLK falls, and the bus tHABF or tHABE after it.

* INTR, TRAP and the RST inputs change tINS before CLK falls for the last T-state of the
  machine cycle before the one for which the trace has them.

CLK itself has no rise and fall times and is low for half of a T-state.  SID and SOD
change at the start of the machine cycle for which the trace has them: the data sheet gives
no times of theirs.

Source: 8085AH/8085AH-2/8085AH-1 data sheet, A.C. characteristics and waveforms
(:mod:`emu85.timing.ac_table`; value from memory).  Defer to the data sheet of the part.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from emu85.bus.cycles import READS, WRITES, Cycle
from emu85.bus.expand import (
    Kind,
    Shape,
    Shaped,
    rest_shape,
    shape,
)
from emu85.bus.pins import (
    ADDRESS_DATA,
    ALE,
    CLK,
    HIGH_ADDRESS,
    HLDA,
    INTA,
    PINS,
    RD,
    READY,
    WR,
)
from emu85.timing.ac_table import Part

_PS = 1000
"""Picoseconds in a nanosecond."""
_STROBES = (RD, WR, INTA)


class Placed(NamedTuple):
    """A pin may change in a machine cycle of some kind, ``ps`` after its start."""

    ps: int
    pin: str
    level: Shaped


class Placer:
    """Places the edges of machine cycles for one part and crystal.

    Attributes:
        t_ps: a T-state in picoseconds, exactly.
    """

    def __init__(self, part: Part, crystal: Fraction) -> None:
        """``crystal`` in Hz; CLK is half of it."""
        self.t_ps = Fraction(2 * 10**12) / crystal
        self._t = self.t_ps / _PS
        self._numerator, self._denominator = self.t_ps.numerator, self.t_ps.denominator
        self._part = part
        self._cycle = cache(self._place_cycle)
        self._rest = cache(self._place_rest)

    def start_ps(self, t: int) -> int:
        """When T-state ``t`` begins, in picoseconds since power-on."""
        return (2 * t * self._numerator + self._denominator) // (2 * self._denominator)

    def cycle(self, kind: Kind, comes_back: bool) -> tuple[Placed, ...]:
        """The edges of a machine cycle, in order.

        Args:
            comes_back: the bus was given away until its start.
        """
        return self._cycle(kind, comes_back)

    def rest(self, cycle: Cycle, turns: bool, was_given: bool) -> tuple[Placed, ...]:
        """The edges of one T-state of HALT, HOLD or RESET.

        Args:
            turns: the bus is given away or comes back after it.
            was_given: hold or a bus master's cycle came before it.
        """
        return self._rest(cycle, turns, was_given)

    # --- one kind -----------------------------------------------------------------

    def _place_cycle(self, kind: Kind, comes_back: bool) -> tuple[Placed, ...]:
        found = shape(kind)
        moments = self._moments(kind, comes_back)
        return self._in_order(found, moments)

    def _place_rest(self, cycle: Cycle, turns: bool, was_given: bool) -> tuple[Placed, ...]:
        held = cycle is Cycle.HOLD and not was_given
        first = self._turn_of_bus if held else self._address
        moments = {name: {0: first} for name in PINS if name not in (CLK, HLDA)}
        moments[HLDA] = {1: self._t - self._ns("tHACK")}
        return self._in_order(rest_shape(cycle, turns), moments)

    def _in_order(
        self, found: Shape, moments: Mapping[str, Mapping[int, Fraction]]
    ) -> tuple[Placed, ...]:
        """The changes, each within the cycle however far the clock is from the part's own."""
        end = round(len(found.names) * self.t_ps)
        placed = (
            one._replace(ps=min(max(one.ps, 0), end - 1)) for one in self._changes(found, moments)
        )
        return tuple(sorted(placed, key=lambda one: one.ps))

    def _changes(
        self, found: Shape, moments: Mapping[str, Mapping[int, Fraction]]
    ) -> Iterator[Placed]:
        """Each pin's level from the start, and wherever it differs from the half before.

        Args:
            moments: ns from the start of the cycle, by pin and half T-state; where there
                is none the edge is at the start of the half.
        """
        before: Mapping[str, Shaped] = {}
        for number, half in enumerate(found.halves):
            for pin, level in half.items():
                if number and before[pin] == level:
                    continue
                ns = moments.get(pin, {}).get(number, self._t * number / 2)
                yield Placed(round(ns * _PS), pin, level)
            before = half

    def _moments(self, kind: Kind, comes_back: bool) -> dict[str, dict[int, Fraction]]:
        t, waits = self._t, kind.waits
        ale_fall = t - self._ns("tLCK")
        control_fall = ale_fall + self._ns("tLC")
        control_rise = max(control_fall + self._ns("tCC", waits), t * (Fraction(5, 2) + waits))
        address = max(self._address, self._turn_of_bus if comes_back else Fraction(0))
        third = 2 * (2 + waits)  # the half with which T3 begins
        moments = {name: {0: address} for name in PINS if name not in (CLK, READY, HLDA)}
        moments[ALE] = {0: max(ale_fall - self._ns("tLL"), address - self._address), 1: ale_fall}
        moments[HIGH_ADDRESS][third + 2] = control_rise + self._ns("tCA")
        moments[ADDRESS_DATA] |= self._byte(kind, address, control_fall, control_rise, third)
        for strobe in _STROBES:
            moments[strobe] |= {2: control_fall, third + 1: control_rise}
        moments[READY] = self._ready(kind, address, ale_fall)
        last = 2 * (kind.t_states + waits) - 1
        moments[HLDA] = {last: (last + 1) * t / 2 - self._ns("tHACK")}
        return moments

    def _byte(
        self,
        kind: Kind,
        address: Fraction,
        control_fall: Fraction,
        control_rise: Fraction,
        third: int,
    ) -> dict[int, Fraction]:
        """When AD0-AD7 change after the address, by half."""
        waits = kind.waits
        if kind.cycle in WRITES and not kind.is_given:
            valid = (control_rise - self._ns("tDW", waits), control_fall + self._ns("tWDL"))
            return {2: min(valid)}
        floats = {2: control_fall + self._ns("tAFR")}
        if kind.cycle not in READS:
            return floats
        ale_fall = self._t - self._ns("tLCK")
        comes = min(
            address + self._ns("tAD", waits),
            control_fall + self._ns("tRD", waits),
            ale_fall + self._ns("tLDR", waits),
        )
        goes = control_rise + (self._ns("tRDH") + self._ns("tRAE")) / 2
        return {**floats, third: comes, third + 1: goes}

    def _ready(self, kind: Kind, address: Fraction, ale_fall: Fraction) -> dict[int, Fraction]:
        """READY falls in T2, and rises before CLK does so in the last TW."""
        if not kind.waits:
            return {0: Fraction(0)}
        set_up = self._ns("tRYS")
        falls = min(
            address + self._ns("tARY"),
            ale_fall + self._ns("tLRY"),
            self._t * Fraction(3, 2) - set_up,
        )
        rises = self._t * (kind.waits + Fraction(3, 2)) - set_up
        return {0: Fraction(0), 2: falls, 2 * (1 + kind.waits): rises}

    # --- moments that are the same in every kind --------------------------------------

    @property
    def _address(self) -> Fraction:
        """When the address and the status lines are valid: ns from the start of T1."""
        ale_fall = self._t - self._ns("tLCK")
        return min(ale_fall + self._ns("tLC") - self._ns("tAC"), ale_fall - self._ns("tAL"))

    @property
    def _turn_of_bus(self) -> Fraction:
        """When the bus floats, or is driven again: ns after the T-state in which HLDA turned."""
        return self._ns("tHABF") - self._ns("tHACK")

    def hold_rises(self) -> int:
        """ps from the start of a machine cycle to the latest rise of a HOLD granted after it."""
        return round((2 * self._t - self._ns("tHDS")) * _PS)

    def set_up(self, symbol: str, left: int) -> int:
        """ps from a T-state's start to the latest change of an input that is sampled then.

        It is sampled when CLK falls for the last T-state of the machine cycle, halt or hold.

        Args:
            symbol: of the time to be set up before.
            left: T-states from that start to the end; where it is shorter than two, the
                change is at its start.
        """
        return max(0, round(((left - 1) * self._t - self._ns(symbol)) * _PS))

    def _ns(self, symbol: str, waits: int = 0) -> Fraction:
        return self._part.ns(symbol, self._t, waits)
