"""Edges of a square wave, against a walk along its moments one by one."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu85.board.square_wave import SquareWave

moments = st.fractions(min_value=-30, max_value=30, max_denominator=12)
periods = st.fractions(min_value=1, max_value=9, max_denominator=12)


@given(periods, moments, st.fractions(min_value=Fraction(1, 10), max_value=Fraction(9, 10)))
def test_edges_are_at_their_nearest_t_state(
    period: Fraction, start: Fraction, share: Fraction
) -> None:
    wave = SquareWave(period, start, period * share)
    rises = [floor(start + n * period + Fraction(1, 2)) for n in range(150)]
    falls = [floor(start + (n + share) * period + Fraction(1, 2)) for n in range(150)]
    for t in range(-5, 80):
        assert wave.rises_by(t) == sum(at <= t for at in rises)
        assert wave.falls_by(t) == sum(at <= t for at in falls)
        assert wave.level(t) == wave.rises_by(t) - wave.falls_by(t)
    assert wave.rise(3) == start + 2 * period
    assert wave.fall(3) == wave.rise(3) + period * share


@pytest.mark.parametrize(("t", "level"), [(9, 0), (10, 1), (12, 1), (13, 0), (14, 0), (15, 1)])
def test_half_a_t_state_is_rounded_up(t: int, level: int) -> None:
    """It rises at 9.5 and 14.5, and falls at 12.5."""
    assert SquareWave(Fraction(5), Fraction(19, 2), Fraction(3)).level(t) == level


def test_a_long_run_does_not_drift() -> None:
    """A third of a T-state more than 3: after 3 million periods exactly 10 million T-states."""
    wave = SquareWave(Fraction(10, 3), Fraction(0), Fraction(5, 3))
    assert wave.rises_by(9_999_999) == 3_000_000
    assert wave.rises_by(10_000_000) == 3_000_001
