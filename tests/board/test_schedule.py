"""The order and the moments of scheduled events."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from emu85.board.schedule import NEVER, Schedule


@given(st.lists(st.integers(0, 50), max_size=30), st.integers(0, 60))
def test_events_run_in_order_of_time_then_of_asking(times: list[int], until: int) -> None:
    schedule, ran = Schedule(), []
    for number, t in enumerate(times):
        schedule.at(t, lambda n=number: ran.append((schedule.now, n)))  # type: ignore[misc]
    schedule.run_until(until)
    due = [(t, number) for number, t in enumerate(times) if t < until]
    assert ran == sorted(due)
    assert schedule.now == until
    left = [t for t in times if t >= until]
    assert schedule.next_t == min(left, default=NEVER)


def test_an_event_may_ask_for_another_at_its_own_moment() -> None:
    schedule, ran = Schedule(), []

    def first() -> None:
        ran.append("first")
        schedule.after(0, lambda: ran.append("second"))
        schedule.after(5, lambda: ran.append("later"))

    schedule.at(10, first)
    schedule.run_until(11)
    assert ran == ["first", "second"]
    assert schedule.next_t == 15


def test_a_cancelled_event_is_no_deadline() -> None:
    schedule, ran = Schedule(), []
    schedule.at(3, lambda: ran.append(3)).cancel()
    schedule.at(7, lambda: ran.append(7))
    schedule.run_until(1)
    assert schedule.next_t == 7
    schedule.run_until(100)
    assert ran == [7] and schedule.next_t == NEVER


def test_the_past_is_now() -> None:
    schedule, ran = Schedule(), []
    schedule.run_until(100)
    schedule.at(20, lambda: ran.append(schedule.now))
    schedule.run_until(101)
    assert ran == [100]


def test_clear() -> None:
    schedule = Schedule()
    schedule.at(5, lambda: None)
    schedule.clear()
    assert schedule.next_t == NEVER
