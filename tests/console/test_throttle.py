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
