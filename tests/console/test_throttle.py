"""Board time against a wall clock that the test moves."""

import pytest

from emu85.console.throttle import Throttle, speed_text


class Clock:
    """A wall clock that moves when told, in seconds."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_real_time_waits_for_what_is_left_of_it() -> None:
    clock = Clock()
    throttle = Throttle(1.0, 1_000_000, clock)
    throttle.begin(0)
    throttle.slice_begins(0)
    clock.now += 0.004
    assert throttle.slice_ended(10_000) == pytest.approx(0.006)


def test_a_factor_stretches_board_time() -> None:
    clock = Clock()
    throttle = Throttle(0.5, 1_000_000, clock)
    throttle.begin(0)
    throttle.slice_begins(0)
    assert throttle.slice_ended(10_000) == pytest.approx(0.020)


def test_uneven_slices_meet_every_part_of_a_tick() -> None:
    """Even ones, of which a number make a tick, or of ticks a slice, meet one part of it alone."""

    def met(*, is_uneven: bool) -> list[int]:
        clock = Clock()
        throttle = Throttle(1.0, 1_000_000, clock)
        throttle.is_uneven = is_uneven
        throttle.begin(0)
        t, parts = 0, []
        for _ in range(400):
            ran = throttle.slice_begins(t)
            assert 8_000 <= ran <= 20_000
            t += ran
            clock.now += throttle.slice_ended(t)
            parts.append(t % 10_000 // 500)
        assert clock.now == pytest.approx(100 + t / 1e6)  # real time all the same
        return parts

    assert set(met(is_uneven=False)) == {0}
    uneven = met(is_uneven=True)
    assert set(uneven) == set(range(20))
    assert max(map(uneven.count, range(20))) < 50  # of 20 in the mean
    assert uneven == met(is_uneven=True)


def test_off_never_waits() -> None:
    clock = Clock()
    throttle = Throttle(None, 1_000_000, clock)
    throttle.begin(0)
    throttle.slice_begins(0)
    assert throttle.slice_ended(10_000_000) == 0.0


def test_time_lost_is_not_run_after() -> None:
    clock = Clock()
    throttle = Throttle(1.0, 1_000_000, clock)
    throttle.begin(0)
    throttle.slice_begins(0)
    clock.now += 10.0
    assert throttle.slice_ended(10_000) == 0.0
    throttle.slice_begins(10_000)
    assert throttle.slice_ended(20_000) == pytest.approx(0.010)


def test_slices_grow_on_a_fast_machine_and_shrink_on_a_slow_one() -> None:
    clock = Clock()
    throttle = Throttle(None, 1_000_000, clock)
    throttle.begin(0)
    first = throttle.slice_begins(0)
    clock.now += 0.0001
    throttle.slice_ended(first)
    longer = throttle.slice_begins(first)
    assert longer == 2 * first
    clock.now += 2.0
    throttle.slice_ended(first + longer)
    assert throttle.slice_begins(first + longer) < first


@pytest.mark.parametrize(("factor", "text"), [(None, "off"), (1.0, "real"), (0.25, "0.25")])
def test_speeds_are_told_as_they_are_typed(factor: float | None, text: str) -> None:
    assert speed_text(factor) == text
