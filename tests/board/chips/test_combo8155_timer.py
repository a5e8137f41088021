"""The 8155's timer takes any number of edges at once as it takes them one by one."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board.chips.combo8155 import Timer, TimerCommand

COMMANDS = st.sampled_from(TimerCommand)
LENGTHS = st.one_of(st.integers(1, 12), st.integers(0, 0x3FFF))
STEPS = st.lists(st.tuples(COMMANDS, LENGTHS, st.integers(0, 3), st.integers(0, 40)), max_size=8)


def standing(timer: Timer) -> tuple[int, ...]:
    return (timer.out(), timer.shown(), timer.running, timer.reached, timer.done, timer.pending)


@settings(max_examples=40, deadline=None)
@given(STEPS)
def test_edges_at_once_and_one_by_one(steps: list[tuple[TimerCommand, int, int, int]]) -> None:
    at_once, singly = Timer(), Timer()
    for command, length, mode, edges in steps:
        for timer in (at_once, singly):
            timer.written = mode << 14 | length
            timer.command(command)
        at_once.count(edges)
        for _ in range(edges):
            singly.count(1)
        assert standing(at_once) == standing(singly)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 12), st.integers(0, 3), st.integers(0, 40))
def test_the_next_change_is_the_next_change(length: int, mode: int, edges: int) -> None:
    timer = Timer()
    timer.written = mode << 14 | length
    timer.command(TimerCommand.START)
    timer.count(edges)
    if not timer.running:
        return
    level, wait = timer.out(), timer.next_change()
    for _ in range(wait):
        assert timer.out() == level
        timer.count(1)
    assert timer.out() != level
