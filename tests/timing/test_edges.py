"""Every edge keeps every limit of the data sheet, for each part at several clocks.

Source of the limits: 8085AH/8085AH-2/8085AH-1 data sheet, A.C. characteristics (value from
memory; tests/published/test_ac_characteristics.py holds the table against the printed numbers).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from fractions import Fraction

import numpy as np
import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.expand import expand
from emu85.bus.lines import Line
from emu85.bus.pins import PINS, UNDEFINED, Level
from emu85.machine import Machine
from emu85.timing.ac_table import part_named
from emu85.timing.weave import Change
from tests.timing.waves import CRYSTALS, held, histories, light, moves, placer, slow

CASES = [(part, crystal) for part, fastest in CRYSTALS.items() for crystal in (fastest, 4_000_000)]


def after(found: Sequence[Change], ps: int, level: object = ...) -> int:
    """When the pin changes next, to this level if one is given, from a moment on."""
    place = bisect_left(found, ps, key=lambda one: one.ps)
    return next(one.ps for one in found[place:] if level is ... or one.level == level)


def last(found: Sequence[Change], ps: int) -> Change:
    """The change by which the pin has the level it has just before a moment."""
    return found[bisect_left(found, ps, key=lambda one: one.ps) - 1]


class Limits:
    """Judges intervals against the table; rounding to picoseconds may cost two of them."""

    def __init__(self, part: str, crystal: int) -> None:
        self._part = part_named(part)
        self._t = Fraction(2 * 10**9, crystal)
        self.judged: set[str] = set()

    def __call__(self, symbol: str, start: int, end: int, waits: int = 0) -> None:
        limit = self._part.limits[symbol]
        room = Fraction(end - start, 1000) - limit.ns(self._t, waits)
        self.judged.add(symbol)
        if limit.kind == "min":
            assert room >= Fraction(-2, 1000), (symbol, float(room))
        else:
            assert room <= Fraction(2, 1000), (symbol, float(room))


@pytest.mark.parametrize(("part", "crystal"), CASES)
@pytest.mark.parametrize("waits", [0, 1, 3])
def test_limits_of_reads_and_writes(part: str, crystal: int, waits: int) -> None:
    machine = slow(waits)
    by = placer(part, crystal)
    found = histories(moves(machine, by))
    judge = Limits(part, crystal)
    clk_falls = [one.ps for one in found["CLK"] if one.level == 0]
    clk_rises = [one.ps for one in found["CLK"] if one.level == 1]
    for record in machine.trace.all()[2:-20]:
        start = by.start_ps(int(record["t"]))
        if int(record["type"]) == Cycle.BI:
            continue
        ale_rise = after(found["ALE"], start, 1)
        ale_fall = after(found["ALE"], ale_rise, 0)
        judge("tLL", ale_rise, ale_fall)
        judge("tLCK", ale_fall, clk_falls[bisect_right(clk_falls, ale_fall)])
        high = last(found["A8-A15"], ale_fall).ps
        low = last(found["AD0-AD7"], ale_fall).ps
        judge("tAL", high, ale_fall)
        judge("tALL", low, ale_fall)
        if int(record["type"]) == Cycle.BI:
            continue
        is_write = int(record["type"]) == Cycle.MW
        strobe = found["WR" if is_write else "RD"]
        fall = after(strobe, ale_fall, 0)
        rise = after(strobe, fall, 1)
        judge("tLC", ale_fall, fall)
        judge("tAC", high, fall)
        judge("tACL", low, fall)
        judge("tCC", fall, rise, waits)
        judge("tLA", ale_fall, after(found["AD0-AD7"], ale_fall))
        judge("tCA", rise, after(found["A8-A15"], rise))
        judge("tCL", rise, after(found["ALE"], rise, 1))
        judge("tRV", rise, min(after(found[name], rise, 0) for name in ("RD", "WR")))
        data = last(found["AD0-AD7"], rise)
        assert data.level == int(record["data"])
        if is_write:
            judge("tDW", data.ps, rise, waits)
            judge("tWDL", fall, data.ps)
            judge("tWD", rise, after(found["AD0-AD7"], rise))
        else:
            judge("tAFR", fall, after(found["AD0-AD7"], fall - 1, None))
            judge("tAD", max(high, low), data.ps, waits)
            judge("tRD", fall, data.ps, waits)
            judge("tLDR", ale_fall, data.ps, waits)
            released = after(found["AD0-AD7"], rise)
            judge("tRDH", rise, released)
            judge("tRAE", rise, after(found["AD0-AD7"], released + 1))
        if waits:
            not_ready = after(found["READY"], start, 0)
            ready = after(found["READY"], not_ready, 1)
            judge("tARY", max(high, low), not_ready)
            judge("tLRY", ale_fall, not_ready)
            sampled = [ps for ps in clk_rises if start < ps][1 : 2 + waits]
            judge("tRYS", not_ready, sampled[0])
            judge("tRYS", ready, sampled[-1])
            assert sampled[-2] < ready < sampled[-1]
    assert len(judge.judged) >= 19 + 3 * bool(waits)


@pytest.mark.parametrize(("part", "crystal"), CASES)
def test_limits_of_a_hold(part: str, crystal: int) -> None:
    machine = light()
    by = placer(part, crystal)
    found = histories(moves(machine, by))
    judge = Limits(part, crystal)
    clk_falls = [one.ps for one in found["CLK"] if one.level == 0]
    granted, ended = (
        next(one.ps for one in found["HLDA"] if one.level == level and one.ps) for level in (1, 0)
    )
    ended = after(found["HLDA"], granted, 0)
    for turn in (granted, ended):
        judge("tHACK", turn, clk_falls[bisect_right(clk_falls, turn)])
    judge("tHABF", granted, after(found["S1"], granted))
    judge("tHABE", ended, after(found["S1"], ended))
    asked = last(found["HOLD"], granted)
    assert asked.level == 1
    judge("tHDS", asked.ps, clk_falls[bisect_right(clk_falls, granted)])


@pytest.mark.parametrize("part", list(CRYSTALS))
def test_changes_come_in_order_and_each_changes_something(part: str) -> None:
    machine = light()
    now: dict[str, Level] = {}
    before = 0
    for change in moves(machine, placer(part)):
        assert change.ps >= before
        assert change.pin not in now or now[change.pin] != change.level
        now[change.pin], before = change.level, change.ps
    assert set(now) == set(PINS)


@pytest.mark.parametrize("machine", [light(), slow(2)], ids=["light", "slow"])
@pytest.mark.parametrize(("part", "crystal"), CASES)
def test_levels_late_in_each_half_are_those_of_the_expansion(
    machine: Machine, part: str, crystal: int
) -> None:
    """Just before CLK's next edge a pin has the level of its half, or gets it in this T-state.

    A byte may be wanted after the half in which it is drawn has ended, or before, by the
    clock; A8-A15 need to hold for tCA only.
    """
    records = machine.trace.all()
    by = placer(part, crystal)
    found = histories(moves(machine, by))
    late = 0
    for state in list(expand(records, machine.t))[4:900]:
        start, end = by.start_ps(state.t), by.start_ps(state.t + 1)
        for half, moment in ((state.first, (start + end) // 2 - 2), (state.second, end - 2)):
            for pin, level in half.items():
                shown = last(found[pin], moment).level
                if pin == "AD0-AD7" and (shown is None or level is None):
                    continue
                if pin == "A8-A15" and UNDEFINED in (shown, level):
                    continue
                late += shown != level
                assert shown == level or _turns_within(found[pin], start, end), (state, pin)
    assert late < 900


def _turns_within(found: Sequence[Change], start: int, end: int) -> bool:
    return any(start <= one.ps < end for one in found)


@pytest.mark.parametrize(("part", "crystal"), CASES)
@pytest.mark.parametrize("make", [light, held], ids=["light", "held"])
def test_requests_are_set_up_before_they_are_sampled(
    make: Callable[[], Machine], part: str, crystal: int
) -> None:
    """tINS before CLK falls for the last T-state of the machine cycle before the one that the
    trace has them for: an acknowledge begins a T-state after that at the earliest."""
    machine = make()
    records = machine.trace.all()
    by = placer(part, crystal)
    judge = Limits(part, crystal)
    found = histories(moves(machine, by))["RST 7.5"]
    levels = (records["lines"] & int(Line.RST75)) != 0
    places = np.flatnonzero(levels[1:] != levels[:-1]) + 1
    long_before = [at for at in places if records["t"][at] - records["t"][at - 1] > 2]
    assert len(long_before) > 2
    for at in long_before:
        sampled = by.start_ps(int(records["t"][at]) - 1)
        change = last(found, sampled)
        assert change.level == levels[at] and change == last(found, by.start_ps(records["t"][at]))
        judge("tINS", change.ps, sampled)
        assert sampled - change.ps <= 160_001  # and no sooner than need be
    assert judge.judged == {"tINS"}


@pytest.mark.parametrize(("part", "crystal"), CASES)
def test_hold_is_set_up_before_it_is_sampled(part: str, crystal: int) -> None:
    """tHDS before a fall of CLK, after which the bus is given away or comes back."""
    by = placer(part, crystal)
    judge = Limits(part, crystal)
    found = histories(moves(held(), by))
    turns = [one.ps for one in found["HLDA"]][1:-1]
    assert len(turns) > 50
    for ps in turns:
        falls = [one.ps for one in found["CLK"] if one.level == 0 and ps - 10**6 < one.ps < ps]
        judge("tHDS", last(found["HOLD"], ps).ps, falls[-1])
    assert judge.judged == {"tHDS"}


def test_a_clock_beyond_the_part_is_drawn_all_the_same() -> None:
    machine = slow(1)
    found = list(moves(machine, placer("8085AH", 30_000_000)))
    assert [one.ps for one in found] == sorted(one.ps for one in found)
