"""The same run is the same to the last bit, however it is cut into pieces.

Random worlds (see ``tests.worlds``) are run straight through and in pieces, and
everything that can be seen afterwards is compared byte for byte.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.cpu.layout import State
from emu85.machine import Machine, Reason
from tests.conditions import random_conditions
from tests.worlds import WORLDS, World, world

SOME = settings(max_examples=40, deadline=None, derandomize=True, database=None)
Move = Callable[[Machine], Any]

CPU_STATE = (
    *(State.T, State.ROW, State.PC, State.SP, State.HALTED, State.LINES, State.PREVIOUS),
    *(State.IE, State.SHADOW, State.MASKS, State.LATCH75, State.TRAP_LATCH),
    *(State.IE_BEFORE_TRAP, State.TRAP_TAKEN, State.VECTOR, State.ANSWER, State.TOTAL),
    *(State.INSTRUCTION, State.PULL_UP, State.HOLD_SINCE, State.LAST_START),
    *range(State.REGISTERS, State.REGISTERS + 16),
)


class Seen(NamedTuple):
    """All that is left of a run."""

    cpu: dict[int, int]
    trace: bytes
    store: bytes
    findings: list[Any]
    devices: list[str]
    arrivals: list[Any]
    now: int


def seen(machine: Machine) -> Seen:
    assert machine.serial is not None
    state = machine.registers.state
    assert machine.trace.forgotten == 0
    return Seen(
        {cell: state[cell] for cell in CPU_STATE},
        machine.trace.all().tobytes(),
        machine.board.store.tobytes(),
        list(machine.findings),
        [device.state() for device in machine.board.devices.values()],
        list(machine.serial.arrivals),
        machine.schedule.now,
    )


def straight(case: World) -> Seen:
    machine = case.machine()
    held = machine.run()
    assert held.reason is Reason.ASKED
    assert held.t == machine.t >= case.t_states
    return seen(machine)


def in_pieces(case: World, move: Move) -> Seen:
    machine = case.machine()
    while machine.t < case.t_states:
        move(machine)
    return seen(machine)


def random_moves(seed: int) -> Move:
    """Any move at all, one after another."""
    rng = random.Random(seed)

    def move(machine: Machine) -> None:
        way = rng.randrange(6)
        if way == 0:
            machine.step(rng.randrange(1, 6))
        elif way == 1:
            machine.step_instruction(rng.randrange(1, 3))
        elif way == 2:
            address = rng.choice([0x0040, 0x0041, 0x0080, 0x0123, machine.registers.pc])
            machine.run(t_states=rng.randrange(1, 400), until=address)
        elif way == 3:
            # Arming and dropping a stop leaves no mark on the machine.
            stop = machine.stops.add("on any")
            machine.run(t_states=rng.randrange(1, 100))
            machine.stops.drop(stop.number)
        else:
            machine.run(t_states=rng.choice([1, 2, 3, 7, 50]), wait=rng.random() < 0.5)

    return move


@SOME
@given(WORLDS)
def test_the_same_run_twice(case: World) -> None:
    once = straight(case)
    assert straight(case) == once


@SOME
@given(WORLDS, WORLDS)
def test_power_leaves_nothing_of_the_run_before(case: World, other: World) -> None:
    """The same machine, powered again in the middle of anything, is as good as a new one."""
    machine = case.machine()
    machine.stops.add("on MW")
    machine.run(t_states=other.t_states)
    machine.stops.clear()
    case.prepare(machine)
    machine.run()
    assert seen(machine) == straight(case)


@SOME
@given(WORLDS)
def test_stopped_at_every_machine_cycle(case: World) -> None:
    assert in_pieces(case, Machine.step) == straight(case)


@SOME
@given(WORLDS)
def test_held_at_every_instruction(case: World) -> None:
    assert in_pieces(case, Machine.step_instruction) == straight(case)


@SOME
@given(WORLDS, st.integers(0, 1 << 32))
def test_in_slices_of_any_length(case: World, seed: int) -> None:
    rng = random.Random(seed)
    longest = rng.choice([1, 3, 20, 500])

    def move(machine: Machine) -> None:
        machine.run(t_states=rng.randint(1, longest))

    assert in_pieces(case, move) == straight(case)


@SOME
@given(WORLDS, st.integers(0, 1 << 32))
def test_with_stops_that_hit(case: World, seed: int) -> None:
    machine = case.machine()
    for condition in random_conditions(seed, 4):
        machine.stops.add(condition)
    while machine.t < case.t_states:
        machine.run()
    assert seen(machine) == straight(case)


@SOME
@given(WORLDS, st.integers(0, 1 << 32))
def test_moved_in_any_way(case: World, seed: int) -> None:
    assert in_pieces(case, random_moves(seed)) == straight(case)


@settings(SOME, max_examples=15)
@given(WORLDS)
def test_a_trace_of_any_size_ends_the_same(case: World) -> None:
    """How much the machine remembers changes nothing of what it does."""
    full = case.machine()
    full.run()
    for size in (1, 2, 7):
        machine = case.machine(trace=size)
        machine.run()
        assert machine.trace.total == full.trace.total
        assert machine.trace.all().tobytes() == full.trace.last(size).tobytes()


@pytest.mark.parametrize("what", ["IOR", "IOW", "INA", "BI", "HALT", "HOLD"])
def test_the_random_worlds_are_not_dull(what: str) -> None:
    """Each of the rarer cycles occurs in many of the worlds these tests run in."""
    count = 0
    for seed in range(30):
        machine = world(seed).machine()
        machine.stops.add(f"on {what}")
        count += machine.run().reason is Reason.STOP
    assert count >= 8
