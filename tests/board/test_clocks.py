"""Clocks on wires: told once where a sink reckons with them, real edges elsewhere."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emu85.board import read_board
from emu85.bus.lines import Line
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench
from tests.board.parts import Port, Probe

pytestmark = pytest.mark.usefixtures("parts")

WIRED = MINIMAL + "wired:\n  - device: port\n  - {device: probe, name: eye}\n"


def board(lines: str, more: str = "") -> tuple[Bench, Port, Probe]:
    bench = Bench(WIRED + more + f"lines:\n{lines}")
    port, eye = bench.board.devices["port"], bench.board.devices["eye"]
    assert isinstance(port, Port) and isinstance(eye, Probe)
    return bench, port, eye


def half_up(t: Fraction) -> int:
    return floor(t + Fraction(1, 2))


def test_a_clock_input_is_told_the_period_and_costs_no_events() -> None:
    bench, port, eye = board("  eye.clk: port.out\n")
    assert eye.of("clk") == [(0, 0)]
    bench.run_to(100)
    port.site.drive_clock("out", Fraction(40, 3), Fraction(307, 3))
    third = Fraction(1, 3)
    assert eye.clocks == [(100, 40 * third, 307 * third, 20 * third)]
    assert bench.host.schedule.next_t > 1 << 60
    bench.run_to(500)
    port.site.drive_clock("out", None, 500)
    assert eye.clocks[1:] == [(500, None, Fraction(500), Fraction(0))]
    assert eye.of("clk") == [(0, 0)]  # the level is the wave's: no edge is made up


def test_a_clock_through_an_inverter() -> None:
    _, port, eye = board("  eye.clk: not port.out\n")
    port.site.drive_clock("out", Fraction(10), 7, high=Fraction(3))
    # High for 3 of 10 from 7 on; the other way round it rises at 10 for 7.
    assert eye.clocks == [(0, Fraction(10), Fraction(10), Fraction(7))]


def test_plain_edges_on_a_clock_input() -> None:
    bench, port, eye = board("  eye.clk: port.out\n")
    port.site.drive("out", 1)
    bench.run_to(50)
    port.site.drive("out", 0)
    assert eye.of("clk") == [(0, 0), (0, 1), (50, 0)] and eye.clocks == []


def test_driving_the_pin_ends_its_clock() -> None:
    bench, port, eye = board("  eye.clk: port.out\n  eye.i0: port.out\n")
    port.site.drive_clock("out", Fraction(100), 10)
    bench.run_to(30)  # high since 10
    port.site.drive("out", 0)
    bench.run_to(1000)
    assert [period for _, period, _, _ in eye.clocks] == [100, None]
    assert eye.of("clk") == [(0, 0), (30, 0)]
    assert eye.of("i0") == [(0, 0), (10, 1), (30, 0)]


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    period=st.fractions(min_value=4, max_value=5000, max_denominator=97),
    start=st.fractions(min_value=-300, max_value=300, max_denominator=7),
    share=st.integers(25, 75),
)
def test_real_edges_never_drift(period: Fraction, start: Fraction, share: int) -> None:
    bench, port, eye = board("  eye.i0: port.out\n  TRAP: not port.out\n")
    high = period * share / 100
    bench.run_to(20)
    port.site.drive_clock("out", period, start, high)
    end = 20 + floor(30 * period)
    bench.run_to(end)
    waves = range(floor((-start) / period) - 1, 400)
    edges = [(half_up(start + n * period), 1) for n in waves]
    edges += [(half_up(start + n * period + high), 0) for n in waves]
    if start > 20:  # the wave begins at its start
        edges = [edge for edge in edges if edge[0] >= half_up(start)]
    past = [edge for edge in sorted(edges) if edge[0] <= 20]
    level = past[-1][1] if past else 0
    expected = [(0, 0)] + ([(20, 1)] if level else [])
    expected += [edge for edge in sorted(edges) if 20 < edge[0] <= end]
    if expected[1:2] and expected[1][1] == 0:
        del expected[1]
    assert eye.of("i0") == expected
    assert bench.host.of(Line.TRAP) == [(t, 1 - level) for t, level in expected]


def test_a_clock_through_a_gate_is_edges() -> None:
    bench, port, eye = board("  eye.clk: {all: [port.out, port.p0]}\n")
    port.site.drive_clock("out", Fraction(20), 0)
    bench.run_to(45)
    port.site.drive("p0", 0)
    bench.run_to(100)
    assert eye.clocks == []
    assert eye.of("clk") == [(0, 0), (0, 1), (10, 0), (20, 1), (30, 0), (40, 1), (45, 0)]


def test_a_clock_changes_its_rate() -> None:
    bench, port, eye = board("  eye.i0: port.out\n  eye.clk: port.out\n")
    port.site.drive_clock("out", Fraction(20), 0)
    bench.run_to(25)
    port.site.drive_clock("out", Fraction(8), 25)
    bench.run_to(34)
    assert eye.of("i0") == [(0, 0), (0, 1), (10, 0), (20, 1), (29, 0), (33, 1)]
    assert [period for _, period, _, _ in eye.clocks] == [20, None, 8]


def test_an_oscillator() -> None:
    more = "  - {device: oscillator, rate: 153.6 kHz}\n"
    bench, _, eye = board("  eye.clk: oscillator.out\n  eye.i0: oscillator.out\n", more)
    # The CPU clock is 2 MHz.
    period = Fraction(2_000_000, 153_600)
    assert eye.clocks == [(0, period, Fraction(0), period / 2)]
    bench.run_to(20_000)
    rises = [t for t, level in eye.of("i0") if level]
    assert rises == [half_up(n * period) for n in range(len(rises))]
    assert len(rises) == 1 + floor(20_000 / period)
    assert bench.board.devices["oscillator"].state() == "153.6 kHz"
    bench.board.reset()
    bench.run_to(20_100)
    assert len(eye.clocks) == 1


def test_an_oscillator_that_nobody_listens_to_costs_nothing() -> None:
    bench, _, _ = board("  TRAP: low\n", "  - {device: oscillator, rate: 24 MHz}\n")
    assert bench.host.schedule.next_t > 1 << 60


def test_power_starts_the_clocks_afresh() -> None:
    bench, _, eye = board(
        "  eye.clk: oscillator.out\n  eye.i0: oscillator.out\n",
        "  - {device: oscillator, rate: 20 kHz}\n",
    )
    bench.run_to(130)
    bench.host.schedule.clear()
    bench.host.schedule.now = 0
    bench.board.power()
    bench.run_to(130)
    assert eye.of("i0") == [(0, 0), (0, 1), (50, 0), (100, 1)]
    assert eye.clocks == [(0, Fraction(100), Fraction(0), Fraction(50))]


def test_a_clock_too_fast_for_edges() -> None:
    fast = "  - {device: oscillator, rate: 1.5 MHz}\n"
    bench, _, eye = board("  eye.clk: oscillator.out\n", fast)
    assert len(eye.clocks) == 1 and bench.host.notes == []
    bench, _, eye = board("  eye.i0: oscillator.out\n", fast)
    bench.run_to(100)
    assert eye.of("i0") == [(0, 0)]
    words = "a clock changes faster than a T-state on a wire where only edges are seen"
    assert bench.host.notes == [(0, words, "oscillator.out (bench.yaml:12)")]


# --- what the CPU gives ----------------------------------------------------------------


def test_clk_is_a_clock_of_one_period_a_t_state() -> None:
    bench, _, eye = board("  eye.clk: CLK\n")
    assert eye.clocks == [(0, Fraction(1), Fraction(1, 2), Fraction(1, 2))]
    bench.board.reset()
    assert len(eye.clocks) == 1


@pytest.mark.parametrize("sink", ["eye.i0", "INTR", "eye.i0-i7"])
def test_clk_where_only_edges_are_seen(sink: str) -> None:
    with pytest.raises(UserError, match=r"CLK is too fast for .*expected a clock") as caught:
        read_board(WIRED + f"lines:\n  {sink}: clk\n", "fast.yaml")
    assert caught.value.place.line == 11


def test_reset_out_is_high_during_a_reset() -> None:
    bench, _, eye = board("  eye.i0: RESET OUT\n  eye.i1: not reset out\n")
    assert eye.of("i0") == [(0, 0), (0, 1), (0, 0)]  # power-on ends with a reset
    bench.run_to(50)
    bench.board.reset()
    assert eye.of("i0")[3:] == [(50, 1), (50, 0)]
    assert eye.of("i1")[3:] == [(50, 0), (50, 1)]
