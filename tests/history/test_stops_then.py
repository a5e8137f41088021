"""Hits, passes and sequences of the user's stops are those of the moment gone to."""

from __future__ import annotations

import random

import pytest

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.firmware import assemble
from emu85.history.history import History
from emu85.machine import Machine, Reason
from emu85.stops import Stop
from tests.history.looking import back_to, last_write
from tests.history.test_seeking import busy

COUNTING = """
        ORG     0
        LXI     SP,8800H        ; T 3, 10 T-states
        XRA     A               ; T 13, 4
L0:     OUT     40H             ; T 17, 10: its write from T 24; each turn takes 24
        INR     A
        JMP     L0
"""
STOPS = (
    "on IOW at 40",
    "on IOW at 40 after 2",
    "on IOW data 03 then on IOW data 02 then on OF at 0004",
    "on OF at 0006 after 3 then on IOW at 40 after 1",
)


def counting(trace: int = 10_000, apart: float = 1e9) -> tuple[Machine, History]:
    machine = Machine.from_board("slate", trace=trace)
    machine.load(assemble(COUNTING, "counting.asm").image)
    return machine, History(machine, apart=apart)


def counted(stops: list[Stop]) -> list[list[list[int]]]:
    return [stop.counts.tolist() for stop in stops]


def run_to(machine: Machine, t: int) -> None:
    """However often a stop holds on the way."""
    while machine.t < t:
        machine.run(t_states=t - machine.t)


def test_passes_are_taken_back() -> None:
    machine, history = counting()
    stop = machine.stops.add("on IOW at 40 after 2")
    machine.run(t_states=57)
    history.go_to(5)
    held = machine.run()
    assert held.reason is Reason.STOP and stop.last_t == 72 == 24 + 2 * 24 and stop.hits == 1


def test_a_sequence_is_taken_back() -> None:
    machine, history = counting()
    machine.stops.add("on IOW data 03 then on IOW data 02")
    machine.run(t_states=127)  # 03 has come at T 96
    history.go_to(5)
    assert machine.run(t_states=120).reason is Reason.LIMIT  # 02 comes before 03


@pytest.mark.parametrize("apart", [0.0, 1e9])
def test_every_moment_has_its_counts(apart: float) -> None:
    rng = random.Random(85)
    machine, history = counting(apart=apart)
    stops = [machine.stops.add(text) for text in STOPS]
    seen = {}
    for _ in range(40):
        run_to(machine, machine.t + rng.randrange(1, 60))
        seen[machine.t] = counted(stops)
    moments = list(seen)
    for _ in range(150):
        there = rng.choice(moments)
        history.go_to(there)
        assert machine.t == there and counted(stops) == seen[there]
        later = rng.choice([t for t in moments if t >= there])
        run_to(machine, later)
        assert machine.t == later and counted(stops) == seen[later]


@pytest.mark.parametrize("apart", [0.0, 1e9])
@pytest.mark.parametrize("text", STOPS)
def test_before_it_was_armed_a_stop_begins_anew_and_counts_from_there(
    text: str, apart: float
) -> None:
    machine, history = counting(apart=apart)
    for _ in range(20):
        run_to(machine, machine.t + 50)
    stop = machine.stops.add(text)
    armed = machine.t
    run_to(machine, 2000)
    newest = counted([stop])
    fresh, _ = counting()
    run_to(fresh, 300)
    beginning = fresh.stops.add(text)
    history.go_to(300)
    assert machine.t == fresh.t and counted([stop]) == counted([beginning])
    for t in (400, 500, 777):
        run_to(machine, t)
        run_to(fresh, t)
        history.go_to(t - 60)
        history.go_to(t)
        assert machine.t == fresh.t and counted([stop]) == counted([beginning])
    history.go_to(NEVER)  # a jump to where it has been armed all the time
    assert machine.t >= 2000 and counted([stop]) == newest
    history.go_to(armed)
    assert stop.hits == 0


@pytest.mark.parametrize("apart", [0.0, 1e9])
def test_a_stop_armed_in_the_past_counts_on_the_way_forth(apart: float) -> None:
    machine, history = counting(apart=apart)
    for _ in range(20):
        run_to(machine, machine.t + 50)
    history.go_to(100)
    stop = machine.stops.add(STOPS[1])
    assert machine.t == 103
    history.go_to(NEVER)
    writes = [t for t in range(24, machine.t, 24) if t >= 103]
    assert stop.hits == len(writes) // 3 and stop.last_t == writes[2::3][-1]
    history.go_to(600)
    assert stop.hits == len([t for t in writes if t < machine.t]) // 3


def test_a_stop_that_rests_or_is_on_no_list_stays_as_it_is() -> None:
    machine, history = counting()
    resting = machine.stops.add(STOPS[0])
    unlisted = machine.stops.add_unlisted(STOPS[0])
    run_to(machine, 500)
    machine.stops.rest(resting.number)
    then = counted([resting, unlisted])
    history.go_to(100)
    history.go_to(400)
    assert counted([resting, unlisted]) == then
    machine.stops.wake(resting.number)
    hits, woken = resting.hits, machine.t
    history.go_to(100)
    assert resting.hits == 0
    history.go_to(NEVER)
    assert resting.hits == hits + len([t for t in range(24, machine.t, 24) if t >= woken])


def test_what_was_to_come_takes_later_beginnings_along() -> None:
    machine, history = counting()
    run_to(machine, 1000)
    stop = machine.stops.add(STOPS[0])
    history.go_to(100)
    machine.registers.b = 1
    run_to(machine, 1500)
    hits = stop.hits
    history.go_to(1200)
    history.go_to(NEVER)
    assert stop.hits == hits == len([t for t in range(24, 1500, 24) if t >= 103])


# --- back stop -------------------------------------------------------------------------------


@pytest.mark.parametrize("trace", [50, 10_000])
@pytest.mark.parametrize("apart", [0.0, 1e9])
@pytest.mark.parametrize("armed_at", [3, 1000, 2000])
def test_all_hits_are_gone_back_to(trace: int, apart: float, armed_at: int) -> None:
    """Each stop alone, and all of them at once."""
    for texts in (*([text] for text in STOPS), STOPS):
        machine, history = counting(trace, apart)
        run_to(machine, armed_at)
        stops = [machine.stops.add(text) for text in texts]
        armed = machine.t
        held = hits_until(machine, 2000)
        fresh, _ = counting()
        for text in texts:
            fresh.stops.add(text)
        held |= {t for t in hits_until(fresh, armed) if t < armed}
        last_start = int(machine.trace[-1]["t"])
        expected = sorted((t for t in held if t < last_start), reverse=True)[:4]
        found: list[int] = []
        while len(found) < 4 and history.back_to_stop(stops):
            found.append(int(machine.trace[-1]["t"]))
        assert found == expected


def hits_until(machine: Machine, t: int) -> set[int]:
    """When the machine cycles began that held a run to ``t``."""
    hits: set[int] = set()
    while machine.t < t:
        held = machine.run(t_states=t - machine.t)
        if held.reason is Reason.STOP:
            hits.add(int(machine.trace[-1]["t"]))
    return hits


def test_a_sequence_that_hit_long_ago_is_gone_back_to() -> None:
    machine, history = busy(100)
    stops = [machine.stops.add("on MW at 8010 then on MW at 8020")]
    assert machine.run().reason is Reason.STOP and machine.t == 46
    for _ in range(10):
        machine.run(t_states=400)
    assert history.back_to_stop(stops) and machine.t == 46 and machine.trace[-1]["t"] == 43
    assert not history.back_to_stop(stops) and machine.t == 46
    history.go_to(NEVER)
    stops.append(machine.stops.add("on MW at 8010"))
    assert history.back_to_stop(stops) and machine.trace[-1]["t"] == 43
    assert history.back_to_stop(stops) and machine.trace[-1]["t"] == 30


@pytest.mark.parametrize("trace", [50, 10_000])
def test_a_late_hit_of_one_stop_comes_before_an_early_one_of_another(trace: int) -> None:
    machine, history = busy(trace)
    for _ in range(10):
        machine.run(t_states=400)
    last_start = int(machine.trace[-1]["t"])
    texts = ("on MW at 8010 then on MW at 8020", "on MW at 8010 then on IOW at 40 after 3")
    stops = [machine.stops.add(text) for text in (*texts, "on IOW at 40")]
    # L0 is reached at T 46, its OUT writes from T 53 on, and a turn takes 34.
    writes = list(range(53, last_start, 34))
    for expected in writes[:-4:-1]:
        assert history.back_to_stop(stops) and machine.trace[-1]["t"] == expected
    machine.stops.drop(stops.pop().number)
    assert history.back_to_stop(stops) and machine.trace[-1]["t"] == 53 + 3 * 34
    assert history.back_to_stop(stops) and machine.trace[-1]["t"] == 43
    assert not history.back_to_stop(stops) and machine.t == 46
    history.go_to(NEVER)
    assert back_to(history, "on IOW") is not None
    assert machine.trace[-1]["t"] == writes[-1]


def test_what_was_touched_last_is_known_after_a_snapshot_in_the_past() -> None:
    machine, history = busy(50, apart=1e9)
    machine.run(t_states=1000)
    history._take()
    machine.memory[0:3] = b"\x32\x34\x87"  # STA 8734H
    machine.registers.pc = 0
    machine.step_instruction()
    written = int(machine.trace[-1]["t"])
    machine.run(t_states=1000)
    history.go_to(500)
    history._take()
    assert last_write(history, 0x8734) is None
    touched = history.snapshots.touched_from(history.snapshots[-1].snapshot.t)
    assert touched.cycles[0x8734] & 1 << Cycle.MW
    history.go_to(NEVER)
    write = last_write(history, 0x8734)
    assert write is not None and write["t"] == written
