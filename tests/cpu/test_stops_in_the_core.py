"""The compiled stops against the search over the trace, which knows nothing of the core."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.machine import Machine, Reason
from emu85.stops import Condition, match, parse
from tests.conditions import random_conditions
from tests.rig import rig
from tests.worlds import WORLDS, World, world

SOME = settings(max_examples=60, deadline=None, derandomize=True, database=None)


def held_at(case: World, conditions: list[Condition], trace: int) -> tuple[Machine, list[set[int]]]:
    """Where each condition held the machine, by the start of the cycle on the bus."""
    machine = case.machine(trace=trace)
    places: list[set[int]] = [set() for _ in conditions]
    numbers = {machine.stops.add(condition).number: n for n, condition in enumerate(conditions)}
    while machine.t < case.t_states:
        held = machine.run()
        assert bool(held.stops) == (held.reason is Reason.STOP)
        for stop in held.stops:
            assert stop.last_t == machine.trace[-1]["t"]
            places[numbers[stop.number]].add(int(machine.trace[-1]["t"]))
    for stop, found in zip(machine.stops, places, strict=True):
        assert stop.hits == len(found)
    return machine, places


@SOME
@given(WORLDS, st.integers(0, 1 << 32), st.integers(1, 8))
def test_stops_hold_where_the_search_finds(case: World, seed: int, count: int) -> None:
    conditions = random_conditions(seed, count)
    machine, places = held_at(case, conditions, trace=20_000)
    records = machine.trace.all()
    for condition, found in zip(conditions, places, strict=True):
        expected = records["t"][match(condition, records)]
        assert sorted(found) == expected.tolist(), condition.text


@settings(SOME, max_examples=15)
@given(WORLDS, st.integers(0, 1 << 32), st.sampled_from([1, 2, 3]))
def test_a_small_trace_makes_stops_no_blinder(case: World, seed: int, size: int) -> None:
    """Edges are told from the cycle before even where the trace has forgotten it."""
    conditions = random_conditions(seed, 6)
    assert held_at(case, conditions, size)[1] == held_at(case, conditions, 20_000)[1]


def test_random_conditions_do_hit() -> None:
    """The tests above would say little if hits were rare."""
    hits = 0
    for seed in range(20):
        _, places = held_at(world(seed), random_conditions(seed, 6), 20_000)
        hits += sum(bool(found) for found in places)
    assert hits >= 20


PROGRAM = """
        ORG 0
        LXI SP,9000H    ; 3
        MVI A,1BH       ; 13
        LXI H,8004H     ; 20
again:  MOV M,A         ; 30: fetch 30, write 34
        INX H           ; 37
        OUT 30H         ; 43: fetch 43, read 47, write 50 (4 with its wait state)
        ADI 1           ; 54
        JMP again       ; 61 to 71, and so every 41
"""


@pytest.mark.parametrize(
    ("text", "starts"),
    [
        ("on MW", [34, 75, 116]),
        ("on MW at 8005-8006", [75, 116]),
        ("on MW outside 8005-8006", [34]),
        ("on MW data 1C", [75]),
        ("on MW data 1x", [34, 75, 116]),
        ("on IOW at 30", [50, 91, 132]),
        ("on IOW at 30 after 1", [91]),
        ("on IOW with READY low", [50, 91, 132]),
        ("on any data 1B", [17, 34, 50]),
        ("on OF at hi 00 at lo 09", [37, 78, 119]),
        ("on MW at 8004 then on OF at 0008", [71]),
        ("on MW then on IOW at 30 after 1", [91]),
        ("when IO/M rises", [50, 91, 132]),
        ("when IO/M falls", [54, 95, 136]),
        ("on INA", []),
    ],
)
def test_a_program_by_hand(text: str, starts: list[int]) -> None:
    """T-states counted from the manual's instruction times; see the comments above."""
    machine = rig(PROGRAM)
    stop = machine.stops.add(text)
    found = []
    while machine.run(t_states=140 - machine.t).reason is Reason.STOP:
        found.append(stop.last_t)
        if machine.t >= 139:
            break
    assert found == starts
    records = machine.trace.all()
    assert records["t"][match(parse(text), records)].tolist() == starts


def test_dropping_and_resting_stops_while_held() -> None:
    rng = random.Random(85)
    machine = rig(PROGRAM)
    kept = machine.stops.add("on MW after 1")
    other = machine.stops.add("on IOW")
    hits = []
    for _ in range(12):
        held = machine.run(t_states=2000)
        hits += [machine.trace[-1]["t"]] if kept in held.stops else []
        if rng.random() < 0.5:
            machine.stops.drop(other.number)
            other = machine.stops.add("on IOW")
    assert hits == [75 + 82 * n for n in range(len(hits))]
    assert kept.hits == len(hits) > 2
