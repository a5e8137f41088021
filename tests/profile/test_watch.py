"""A watch loses nothing, whatever the ring, and keeps its head when time goes back."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.bus.trace import RECORD
from emu85.history.history import History
from emu85.machine import Machine
from emu85.profile.routines import Routines, Spent
from emu85.profile.watch import Figures, Watch
from tests.profile.watched import assert_whole, watched
from tests.rig import rig
from tests.worlds import WORLDS, World

PROGRAM = """
        LXI     SP,9000H
        MVI     C,0
LOOP:   CALL    PUT
        INR     C
        JMP     LOOP
PUT:    MOV     A,C
        OUT     20H
        RET
"""


def same(one: Figures, other: Figures) -> None:
    assert one.routines.rows() == other.routines.rows()
    assert (one.start_t, one.end_t) == (other.start_t, other.end_t)
    for name in ("fetches", "t_states", "reads", "writes", "port_reads", "port_writes"):
        assert np.array_equal(getattr(one.execution, name), getattr(other.execution, name)), name
    assert one.latencies == other.latencies
    assert np.array_equal(one.routines.port_t, other.routines.port_t)


@settings(max_examples=60, deadline=None)
@given(WORLDS, st.integers(0, 1 << 32))
def test_all_time_is_somebodys_in_any_world(world: World, seed: int) -> None:
    """However the run is cut up, also from the middle of an instruction on."""
    rng = random.Random(seed)
    machine = world.machine()
    machine.step(rng.randrange(3) and rng.randrange(100))
    watch = Watch(machine)
    while machine.t < world.t_states:
        if rng.random() < 0.05:
            machine.reset()
        machine.step(rng.choice([1, 7, 50, 2000]))
    figures = watch.figures()
    rows = figures.routines.rows()
    assert sum(row.own for row in rows) == figures.t_states
    assert figures.complete
    for row in rows:
        assert 0 <= row.whole <= figures.t_states
        assert row.least <= row.mean <= row.most or not row.over


@settings(max_examples=20, deadline=None)
@given(WORLDS)
def test_the_size_of_the_ring_does_not_matter(world: World) -> None:
    machines = [world.machine(20_000), world.machine(150)]
    watches = [Watch(machine) for machine in machines]
    for machine in machines:
        machine.run(t_states=world.t_states, wait=True)
    one, other = (watch.figures() for watch in watches)
    assert one.complete and other.complete
    same(one, other)


@pytest.mark.parametrize("trace", [1, 2, 7, 64])
def test_a_short_ring_loses_nothing(trace: int) -> None:
    _, short = watched(PROGRAM, trace=trace)
    _, long = watched(PROGRAM)
    assert short.complete
    same(short, long)
    assert_whole(short)


def test_a_closed_watch_counts_no_longer() -> None:
    machine = rig(PROGRAM)
    watch = Watch(machine)
    watch.close()
    machine.run(t_states=100)
    assert machine.companions == []


def test_a_watch_that_begins_late_says_what_was_under_way() -> None:
    machine = rig(PROGRAM)
    machine.run(t_states=40)  # in PUT
    watch = Watch(machine)
    machine.run(t_states=500)
    figures = watch.figures()
    rows = figures.routines.rows()
    assert "under way" in [row.begun.text for row in rows]
    assert figures.start_t >= 40
    assert sum(row.own for row in rows) == figures.t_states


def test_a_watch_that_begins_in_a_halt_knows_it() -> None:
    machine = rig("        HLT")
    machine.run(t_states=50, wait=True)
    watch = Watch(machine)
    machine.run(t_states=70, wait=True)
    figures = watch.figures()
    assert figures.routines.halt_t == figures.t_states == 70
    assert sum(row.own for row in figures.routines.rows()) == 70


def test_missed_records_are_told_and_their_time_is_unknown() -> None:
    machine = rig(PROGRAM, trace=10)
    watch = Watch(machine)
    machine.companions.remove(watch)  # somebody moves it unseen
    machine.run(t_states=500)
    machine.companions.append(watch)
    machine.run(t_states=500)
    figures = watch.figures()
    assert not figures.complete
    rows = figures.routines.rows()
    assert sum(row.own for row in rows) == figures.t_states
    assert max(row.own for row in rows if row.begun.text == "under way") >= 400


# --- time that goes back --------------------------------------------------------------


def sitting() -> tuple[Machine, History, Watch]:
    machine = rig(PROGRAM, trace=200)
    history = History(machine, apart=0)
    watch = Watch(machine, history)
    machine.run(t_states=2000)
    return machine, history, watch


def test_what_is_done_again_is_not_counted_again() -> None:
    machine, history, watch = sitting()
    before = watch.figures()
    for t in (1500, 3, 700, 1200):
        history.go_to(t)
        same(watch.figures(), before)
    machine.run(t_states=100)
    same(watch.figures(), before)
    history.back_cycles(3)
    history.go_to(history.latest_t)
    same(watch.figures(), before)
    machine.run(t_states=1000)
    same(watch.figures(), watched(PROGRAM, t_states=machine.t - 3)[1])


def test_another_story_begins_anew_and_says_so() -> None:
    machine, history, watch = sitting()
    history.go_to(1000)
    machine.registers.c = 0x55
    machine.run(t_states=5000)
    figures = watch.figures()
    assert figures.start_t == 1000 or 1000 <= figures.start_t < 1020
    assert f"counted from T {figures.start_t}" in figures.note
    assert sum(row.own for row in figures.routines.rows()) == figures.t_states
    assert figures.end_t == machine.t


def test_power_begins_anew() -> None:
    machine, _, watch = sitting()
    machine.power()
    machine.run(t_states=3000)
    figures = watch.figures()
    assert "power" in figures.note
    assert_whole(figures)
    fresh = watched(PROGRAM)[1]
    assert figures.routines.rows() == fresh.routines.rows()


def test_without_a_history_time_that_goes_back_begins_anew() -> None:
    machine = rig(PROGRAM)
    history = History(machine, apart=0)
    watch = Watch(machine)
    machine.run(t_states=2000)
    history.go_to(1000)
    machine.run(t_states=10)
    figures = watch.figures()
    assert figures.note
    assert sum(row.own for row in figures.routines.rows()) == figures.t_states


# --- a second, simpler reckoning ---------------------------------------------------


@st.composite
def trees(draw: st.DrawFn) -> list[list[int]]:
    """Routines that do nothing (-1) and call routines after them."""
    count = draw(st.integers(1, 6))
    return [
        draw(st.lists(st.sampled_from([-1, *range(number + 1, count)]), max_size=4))
        for number in range(count)
    ]


@settings(max_examples=40, deadline=None)
@given(trees())
def test_trees_of_calls_take_what_they_add_up_to(tree: list[list[int]]) -> None:
    """NOP 4, CALL 18, RET 10 (User's Manual, October 1979; values from memory)."""
    lines = ["LXI SP,9000H", "CALL R0", "HLT"]
    for number, body in enumerate(tree):
        lines.append(f"R{number}: NOP")
        lines += ["NOP" if one < 0 else f"CALL R{one}" for one in body]
        lines.append("RET")
    machine, figures = watched("\n".join(f" {line}" for line in lines), t_states=100_000)

    def own(number: int) -> int:
        return 4 + sum(4 if one < 0 else 18 for one in tree[number]) + 10

    def whole(number: int) -> int:
        return own(number) + sum(whole(one) for one in tree[number] if one >= 0)

    calls = [0] * len(tree)

    def call(number: int) -> None:
        calls[number] += 1
        for one in tree[number]:
            if one >= 0:
                call(one)

    call(0)
    by_address: dict[int, Spent] = {r.address: r for r in figures.routines.rows() if not r.begun}
    for number, times in enumerate(calls):
        if times:
            row = by_address[machine.symbols[f"R{number}"]]
            assert (row.calls, row.own) == (times, times * own(number))
            assert (row.whole, row.least, row.most) == (
                times * whole(number),
                whole(number),
                whole(number),
            )


def test_a_batch_of_nothing() -> None:
    routines = Routines()
    routines.feed(np.zeros(0, RECORD))
    assert routines.records == 0
