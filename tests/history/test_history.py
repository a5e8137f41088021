"""Going back and forth in board time ends where the machine was, to the last bit."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.bus.trace import RECORD
from emu85.errors import UserError
from emu85.history.copying import enclosed
from emu85.history.history import History
from emu85.machine import Machine, Reason
from tests.history.looking import back_to, last_write
from tests.history.sight import Sight, events, sight
from tests.rig import rig
from tests.worlds import WORLDS, World

SOME = settings(max_examples=25, deadline=None, derandomize=True, database=None)

COUNTER = """
        ORG     0
        LXI     SP,9000H
        LXI     H,8100H
again:  INR     M
        CALL    note
        JMP     again
note:   MOV     A,M
        STA     8200H
        RET
"""


# --- the same moments ---------------------------------------------------------------------


def act(machine: Machine, rng: random.Random) -> None:
    """Do one of the things that can be done from outside, or nothing."""
    assert machine.serial is not None
    choice = rng.randrange(9)
    if choice == 0:
        machine.serial.send(rng.randbytes(rng.randrange(1, 4)))
    elif choice == 1:
        machine.serial.send_break(rng.randrange(9, 30))
    elif choice == 2:
        machine.memory[rng.choice((0x10, 0x80, 0x100))] = rng.randrange(256)
    elif choice == 3:
        machine.registers.hl = rng.randrange(0x10000)
        machine.registers.pc = rng.randrange(0x40, 0x200)
    elif choice == 4:
        machine.board.adjust("key", "press")
    elif choice == 5 and rng.random() < 0.2:
        machine.reset()


def same(was: Sight, machine: Machine) -> bool:
    """Whether a machine is as it was, with so much of the trace as it still has."""
    held = min(len(machine.trace), len(was.trace) // RECORD.itemsize)
    trace = was.trace[len(was.trace) - held * RECORD.itemsize :]
    return sight(machine, held) == was._replace(trace=trace)


@given(WORLDS, st.integers(0, 1 << 32), st.sampled_from([0.0, 0.0005, 1.0]))
@SOME
def test_any_moment_of_a_random_world_again(case: World, seed: int, apart: float) -> None:
    rng = random.Random(seed)
    machine = case.machine(trace=rng.choice((50, 20_000)))
    history = History(machine, apart=apart, most=rng.choice((2, 5, 100)))
    seen: dict[int, Sight] = {}
    for _ in range(12):
        machine.run(t_states=rng.randrange(1, 400), wait=True)
        act(machine, rng)
        machine.run(t_states=rng.randrange(1, 20), wait=True)
        seen[machine.t] = sight(machine)
    for t in rng.choices(list(seen), k=24):
        history.go_to(t)
        assert machine.t == t and same(seen[t], machine)
    history.go_to(NEVER)
    assert same(seen[max(seen)], machine) and not history.in_past


def test_moments_of_the_backplane_with_all_its_chips() -> None:
    machine = Machine.from_board("gantry", firmware=Machine.from_board("gantry").board.firmware)
    history = History(machine, apart=0.002, most=8)
    rng = random.Random(85)
    seen: dict[int, Sight] = {}
    usart = machine.board.serial_ends["usart"]
    for _ in range(25):
        machine.run(seconds=rng.random() / 8, wait=True)
        if rng.random() < 0.5:
            usart.send(rng.choice((b"lamps 5A\r", b"help\r", b"x", b"send tide\r")))
        if rng.random() < 0.3:
            machine.board.adjust("pad", "press", "A")
        machine.step(3)
        seen[machine.t] = sight(machine)
    assert len(history.snapshots) > 1
    for t in rng.sample(list(seen), k=20):
        history.go_to(t)
        assert machine.t == t and same(seen[t], machine)


def test_what_is_scheduled_encloses_only_what_keeps_its_identity() -> None:
    machine = Machine.from_board("gantry", firmware=Machine.from_board("gantry").board.firmware)
    fixed = {id(each) for each in (*machine.fixed(), *machine.parts())}
    for text in (b"help\r", b"send tide\r", b"kiln\r"):
        machine.board.serial_ends["usart"].send(text)
        machine.run(seconds=0.3, wait=True)
        machine.board.adjust("pad", "press", "A")
        for event in events(machine):
            assert all(id(each) in fixed for each in enclosed(event.action)), event.action


# --- words of going back --------------------------------------------------------------------


def counting(trace: int = 1000, **kept: float) -> tuple[Machine, History]:
    machine = rig(COUNTER, trace)
    return machine, History(machine, **kept)  # type: ignore[arg-type]


def test_back_by_machine_cycles() -> None:
    machine, history = counting()
    machine.run(t_states=2000)
    starts = machine.trace.all()["t"].tolist()
    here, total = machine.t, machine.trace.total
    history.back_cycles(1)
    assert machine.t == starts[-1] and machine.trace.total == total - 1
    history.back_cycles(100)
    assert machine.t == starts[-101]
    machine.step(101)
    assert machine.t == here
    history.back_cycles(10_000)
    assert machine.t == history.first_t == 3


def test_back_by_instructions() -> None:
    machine, history = counting()
    machine.run(t_states=500)
    machine.step_instruction()
    machine.step(2)
    fetches = [int(r["t"]) for r in machine.trace.all() if r["type"] == Cycle.OF]
    history.back_instructions(1)  # the start of the one under way
    assert machine.t == fetches[-1] and machine.registers.boundary
    history.back_instructions(1)
    assert machine.t == fetches[-2]
    history.back_instructions(20)
    assert machine.t == fetches[-22]


def test_back_to_what_a_stop_looks_for() -> None:
    machine, history = counting()
    machine.run(t_states=1000)
    writes = [r for r in machine.trace.all() if r["type"] == Cycle.MW and r["address"] == 0x8200]
    for write in (writes[-1], writes[-2], writes[-3]):
        found = back_to(history, "on MW at 8200", "on IOW")
        assert found is not None and found["t"] == write["t"]
        assert machine.t == write["t"] + 3 and machine.trace[-1] == write
    here = machine.t
    assert back_to(history, "on IOR") is None and machine.t == here


def test_going_back_counts_no_hits_anew() -> None:
    machine = rig(COUNTER)
    history = History(machine)
    stop = machine.stops.add("on MW at 8200")
    counting = machine.stops.add("on MW at 8200 after 3")
    assert machine.run(t_states=10_000).stops == (stop,)
    assert machine.run(t_states=10_000).stops == (stop,)
    machine.step(10)
    then = (stop.hits, stop.last_t, counting.hits)
    assert then[0] == 2
    history.back_cycles(8)
    back_to(history, "on MW at 8200")
    history.go_to(20)
    history.go_to(history.latest_t)
    assert (stop.hits, stop.last_t, counting.hits) == then
    assert machine.run(t_states=10_000).stops == (stop,)  # the third; 'after 3' has seen two
    assert machine.run(t_states=10_000).stops == (stop, counting)


def test_what_the_trace_has_forgotten_is_found_again() -> None:
    machine, history = counting(trace=50, apart=0.0)
    machine.memory[0x8300] = 7  # no write of the firmware's
    for _ in range(10):
        machine.run(t_states=300)
    assert machine.trace.forgotten > 500
    here = machine.t
    everything = rig(COUNTER, 5000)
    everything.run(until=0, t_states=here - 3)
    fetches = [r for r in everything.trace.all() if r["address"] == 0 and r["type"] == Cycle.OF]
    found = back_to(history, "on OF at 0000")
    assert found is not None and found == fetches[-1] and machine.t == found["t"] + 4
    history.go_to(here)
    count = machine.trace.total - 200
    history.back_cycles(count)
    assert machine.t == everything.trace.all()[everything.trace.total - count]["t"]


@pytest.mark.parametrize("apart", [0.0, 10.0])
def test_the_last_write_of_an_address(apart: float) -> None:
    machine, history = counting(trace=60, apart=apart)
    for _ in range(8):
        machine.run(t_states=250)
    everything = rig(COUNTER, 5000)
    everything.run(t_states=machine.t - 3)
    expected = [r for r in everything.trace.all() if r["type"] == Cycle.MW]
    here = sight(machine, 40)
    for address, at in ((0x8200, 0x8200), (0xA200, 0x8200), (0x8FFE, 0x8FFE), (0x8100, 0x8100)):
        found = last_write(history, address)  # A200 is a mirror of 8200
        assert found == [r for r in expected if r["address"] == at][-1]
    assert last_write(history, 0x8300) is None
    assert sight(machine, 40) == here


@pytest.mark.parametrize("trace", [4, 1000])
def test_the_moment_before_a_reset_is_another(trace: int) -> None:
    machine, history = counting(trace)
    stop = machine.stops.add("on MW at 8200")
    machine.run()
    machine.run()
    held, total = sight(machine, trace), machine.trace.total
    machine.reset()
    after, later = machine.t, machine.trace.total
    machine.step(3)
    end = sight(machine, trace)
    history.back_cycles(4)
    assert sight(machine, trace) == held and machine.t == after - 3
    history.go_to(history.latest_t)
    assert history.back_to_stop([stop]) and sight(machine, trace) == held
    assert history.in_past
    history.go_to(after - 2)
    assert (machine.t, machine.trace.total) == (after, later)
    history.go_to(after - 3)
    assert (machine.t, machine.trace.total) == (after - 3, total)
    machine.run(t_states=1)  # the reset is done again
    machine.run(t_states=history.latest_t - machine.t)
    assert sight(machine, trace) == end and not history.in_past


def test_each_of_several_resets_is_gone_back_to() -> None:
    machine, history = counting()
    machine.run(t_states=100)
    for _ in range(3):
        machine.reset()
    totals = []
    for _ in range(4):
        history.back_cycles(1)
        totals.append((machine.trace.total, machine.t))
    last, t = totals[2]
    assert totals[:3] == [(last + 2, t + 6), (last + 1, t + 3), (last, t)]
    assert totals[3][0] == last - 1


# --- another story ----------------------------------------------------------------------------


def test_what_was_done_comes_again_until_something_new_is_done() -> None:
    machine, history = counting()
    machine.run(t_states=500)
    machine.memory[0x8100] = 0x40
    machine.run(t_states=500)
    first = sight(machine)
    end = machine.t
    history.go_to(300)
    assert history.in_past
    machine.run(t_states=end - machine.t)
    assert sight(machine) == first and not history.in_past
    history.go_to(300)
    machine.step_instruction()
    machine.memory[0x8100] = 0x70
    assert not history.in_past
    machine.run(t_states=end - machine.t)
    assert machine.memory[0x8100] > 0x70
    assert [entry.deed.kind for entry in history.journal.entries] == ["poke"]


def test_registers_set_by_hand_come_again() -> None:
    machine, history = counting()
    machine.run(t_states=100)
    machine.registers.hl = 0x8123
    machine.registers.pc = 6  # again
    machine.run(t_states=30)
    then = sight(machine)
    history.go_to(20)
    history.go_to(NEVER)
    assert sight(machine) == then and machine.memory[0x8123] == 1


def test_power_is_the_beginning() -> None:
    machine, history = counting()
    machine.run(t_states=400)
    machine.power()
    machine.run(t_states=100)
    history.go_to(0)
    assert machine.t == 3 and history.latest_t >= 103
    history.close()
    machine.memory[0x8100] = 9
    assert history.journal.entries == [] and machine.companions == []


def test_nobody_hears_of_going_back() -> None:
    machine, history = counting()
    assert machine.serial is not None
    heard: list[int] = []
    machine.serial.listeners.append(heard.append)
    machine.stops.add("on MW at 8200")
    hits = 0
    while machine.t < 3000:
        hits += machine.run(t_states=3000 - machine.t).reason is Reason.STOP
    assert hits > 20
    history.go_to(50)
    history.go_to(2000)
    assert machine.t >= 2000 and heard == []
    assert machine.run(t_states=900).reason is Reason.STOP
    assert machine.serial.listeners == [heard.append]


def test_the_snapshots_that_are_kept_thin_out_with_age() -> None:
    machine, history = counting(apart=0.0, most=10)
    for _ in range(200):
        machine.run(t_states=50)
    times = [kept.snapshot.t for kept in history.snapshots]
    assert len(times) == 10 and times[0] == 3 and times == sorted(times)
    gaps = [b - a for a, b in pairwise(times)]
    assert gaps[0] > 4 * gaps[-1] and machine.t - times[-1] < 2000


def test_a_mistake_of_a_board_leaves_the_machine_to_go_back_with() -> None:
    machine, history = counting()
    machine.run(t_states=100)
    with pytest.raises(UserError):
        machine.board.adjust("key", "turn")
    machine.run(t_states=100)
    history.go_to(50)
    history.go_to(NEVER)
    assert history.journal.entries == []
