"""Any of many random moments again, with deeds where they are likeliest to go wrong.

Deeds are done at the very moment of a snapshot (of the only one there is, too), before
anything has run, and right after runs that end on one.  A moment is compared with what
was seen when the machine first came there, and so is what a run from there comes to.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable

import pytest

from emu85.board.schedule import NEVER
from emu85.history.history import History
from emu85.machine import Machine
from tests.history.sight import Sight, sight
from tests.rig import rig

LISTENER = """
        ORG     0
        LXI     SP,9000H
        LXI     H,8100H
        MVI     A,0DH           ; RST 6.5 is open
        SIM
        EI
again:  INR     M
        RIM
        ADD     M
        STA     8200H
        OUT     30H
        JMP     again
        ORG     34H
        INX     H
        EI
        RET
"""
FEW, MANY = 60, 2500
RECORDS = 100


def a_rig() -> Machine:
    return rig(LISTENER, 3000)


def a_tide_gauge() -> Machine:
    machine = Machine.from_board("saltmarsh", trace=3000)
    firmware = machine.board.firmware
    assert firmware is not None
    machine.load(firmware)
    return machine


def do_something(machine: Machine, rng: random.Random) -> None:
    """One deed, of any kind that the board takes."""
    assert machine.serial is not None
    choice = rng.randrange(8)
    if choice == 0:
        machine.serial.send(rng.choice((b"level\r", b"x", b"\x00\xff")))
    elif choice == 1:
        machine.registers.b = rng.randrange(256)
    elif choice == 2:
        machine.registers.de = rng.randrange(0x10000)
    elif choice == 3:
        machine.memory[rng.choice((0x8100, 0x8200)) if has_work(machine) else 0xA900] = 0x5A
    elif choice == 4:
        machine.board.adjust(key_of(machine), "press")
    elif choice == 5:
        machine.reset()
    elif choice == 6:
        machine.board.put_port(0x20 if has_work(machine) else 0x10, rng.randrange(256))
    elif machine.t > 4:
        machine.serial.send_break(rng.randrange(9, 30))


def has_work(machine: Machine) -> bool:
    return machine.board.name == "rig"


def key_of(machine: Machine) -> str:
    return next(name for name, d in machine.board.devices.items() if d.kind == "key")


def tell_a_story(history: History, rng: random.Random, longest: int) -> dict[int, Sight]:
    """Run and do things, with snapshots just where things are done; what was seen when."""
    machine = history.machine
    for _ in range(rng.randrange(1, 4)):
        do_something(machine, rng)  # at the moment of the first snapshot
    seen = {machine.t: sight(machine, RECORDS)}
    for _ in range(40):
        machine.run(t_states=rng.randrange(1, longest), wait=True)
        if rng.random() < 0.4:
            history._take()
        for _ in range(rng.choice((0, 0, 1, 1, 2, 3))):
            do_something(machine, rng)
        seen[machine.t] = sight(machine, RECORDS)
    return seen


def assert_moments_come_again(
    history: History, seen: dict[int, Sight], rng: random.Random, points: int
) -> None:
    machine, moments, newest = history.machine, sorted(seen), max(seen)
    assert not history.in_past  # what was put into registers last has been noticed
    entries = list(history.journal.entries)
    for _ in range(points):
        there = rng.choice(moments)
        history.go_to(there)
        assert machine.t == there
        assert_same(seen[there], machine)
        assert history.latest_t == newest and history.in_past == (there < newest)
        if rng.random() < 0.3 and there < newest:
            later = rng.choice([t for t in moments[:-1] if t >= there] or [there])
            machine.run(t_states=later - there, wait=True)
            assert machine.t == later
            assert_same(seen[later], machine)
    history.go_to(NEVER)
    assert_same(seen[newest], machine)
    assert history.journal.entries == entries


def assert_same(was: Sight, machine: Machine) -> None:
    held = min(len(machine.trace), RECORDS)
    now = sight(machine, held)
    assert was.trace.endswith(now.trace)
    assert now._replace(trace=b"") == was._replace(trace=b"")


@pytest.mark.parametrize("board", [a_rig, a_tide_gauge])
@pytest.mark.parametrize("apart", [1e9, 0.0])
def test_random_moments(board: Callable[[], Machine], apart: float) -> None:
    go_there_and_back(board, apart, FEW)


@pytest.mark.skipif("EMU85_LONG" not in os.environ, reason="EMU85_LONG=1: takes minutes")
@pytest.mark.parametrize("board", [a_rig, a_tide_gauge])
@pytest.mark.parametrize("apart", [1e9, 0.0])
def test_ten_thousand_random_moments(board: Callable[[], Machine], apart: float) -> None:
    """So many in all four."""
    go_there_and_back(board, apart, MANY)


def go_there_and_back(board: Callable[[], Machine], apart: float, points: int) -> None:
    stories = max(2, points // 100)
    for seed in range(stories):
        rng = random.Random(seed)
        machine = board()
        history = History(machine, apart=apart, most=rng.choice((4, 40)))
        longest = 400 if has_work(machine) else 40_000
        seen = tell_a_story(history, rng, longest)
        assert_moments_come_again(history, seen, rng, points // stories)
