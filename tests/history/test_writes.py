"""What changed a byte last is what a simple walk over all that happened says."""

from __future__ import annotations

import random

import pytest

from emu85.bus.cycles import Cycle
from emu85.firmware.image import Image, Segment
from emu85.history.history import History
from emu85.history.writes import ByHand
from emu85.machine import Machine
from tests.history.looking import rests_of
from tests.rig import rig

WRITER = """
        ORG     0
        LXI     SP,8F00H
        LXI     H,8100H
        MVI     C,0
again:  INR     C
        MOV     A,C
        ANI     0CH             ; a new value every fourth time
        MOV     M,A
        STA     0A102H          ; a mirror of 8102
        STA     0200H           ; ROM
        STA     4000H           ; nobody
        MVI     A,7
        STA     8103H           ; the same always
        JMP     again
"""
PLACES = (0x8100, 0xA100, 0x8102, 0xA102, 0x0200, 0x4000, 0x5000, 0x8103, 0x8104, 0x0001)
WORK = 0x8000

Told = tuple[int | None, int | tuple[int, int, bool] | None]
"""T of the last write and of the change, or T, byte and whether it was loaded."""


def told(history: History, address: int) -> Told:
    write, change = history.last_change(address)
    last = None if write is None else int(write["t"])
    if isinstance(change, ByHand):
        return last, (change.t, change.value, change.is_loaded)
    return last, None if change is None else int(change["t"])


def home(address: int) -> int:
    """One address for all mirrors: work answers at A000 to AFFF too."""
    return address & ~0x2000 if 0xA000 <= address <= 0xAFFF else address


def takes(address: int) -> bool:
    return WORK <= home(address) < WORK + 0x1000


class Walk:
    """The rule once more: byte after byte, from the first machine cycle on."""

    def __init__(self, machine: Machine) -> None:
        self.first = machine
        self.puts: list[tuple[int, int, int, bool]] = []

    def tell(self, records: list[tuple[int, int, int]], address: int, before: int) -> Told:
        value = self.first.memory[address]
        last: int | None = None
        change: int | tuple[int, int, bool] | None = None
        happened = sorted(
            [(t, 1, at, data, False) for t, at, data in records]
            + [(t, 0, at, data, loaded) for t, at, data, loaded in self.puts],
            key=lambda each: each[:2],
        )
        for t, is_write, at, data, loaded in happened:
            if home(at) != home(address) or t >= before + (not is_write):
                continue
            if not is_write:
                last, change, value = None, (t, data, loaded), data
                continue
            last = t
            if takes(at) and data != value:
                last, change, value = None, t, data
        return last, change


def do_something(machine: Machine, walk: Walk, rng: random.Random) -> None:
    at, data = rng.choice((0x8100, 0x8102, 0x8103, 0x8104)), rng.randrange(256)
    if rng.random() < 0.3:
        machine.load(Image((Segment(at, bytes([data])),)))
        walk.puts.append((machine.t, at, data, True))
    else:
        machine.memory[at] = data
        walk.puts.append((machine.t, at, data, False))


@pytest.mark.parametrize("trace", [50, 100_000])
@pytest.mark.parametrize("apart", [0.0, 1e9])
@pytest.mark.parametrize("seed", range(3))
def test_what_changed_a_byte_last(trace: int, apart: float, seed: int) -> None:
    rng = random.Random(seed)
    everything, machine = rig(WRITER, 100_000), rig(WRITER, trace)
    walk, history = Walk(rig(WRITER)), History(machine, apart=apart)
    for _ in range(12):
        length = rng.randrange(1, 400)
        machine.run(t_states=length)
        everything.run(t_states=length)
        if rng.random() < 0.4:
            puts = len(walk.puts)
            do_something(machine, walk, rng)
            for _, at, data, _ in walk.puts[puts:]:
                everything.memory[at] = data
    assert machine.t == everything.t
    records = [
        (int(r["t"]), int(r["address"]), int(r["data"]))
        for r in everything.trace.all()
        if r["type"] == Cycle.MW
    ]
    for there in (machine.t, machine.t - 700, 200):
        history.go_to(there)
        for address in PLACES:
            assert told(history, address) == walk.tell(records, address, machine.t)


def test_going_back_to_one_change_after_another() -> None:
    machine = rig(WRITER, 50)
    history = History(machine, apart=0.0)
    machine.run(t_states=600)
    machine.memory[0x8100] = 0x33
    put = machine.t
    machine.run(t_states=800)
    everything = rig(WRITER, 10_000)
    everything.run(t_states=put - 3)
    changes: list[int] = []
    value = rig(WRITER).memory[0x8100]
    for record in everything.trace.all():
        if record["type"] == Cycle.MW and record["address"] == 0x8100 and record["data"] != value:
            changes.append(int(record["t"]))
            value = int(record["data"])
    found: list[int] = []
    while (change := history.back_to_change(0x8100)) is not None:
        found.append(change.t if isinstance(change, ByHand) else int(change["t"]))
        if isinstance(change, ByHand):
            assert machine.t == put and machine.memory[0x8100] == 0x33
        else:
            assert machine.trace[-1] == change and machine.memory[0x8100] == change["data"]
    assert found[-len(changes) - 1 :] == [put, *changes[::-1]]
    assert len(found) > len(changes) + 1
    assert machine.t == changes[0] + 3


SAME = """
        ORG     0
        LXI     SP,8800H        ; T 3, 10 T-states
        MVI     A,5             ; T 13, 7
        STA     8104H           ; T 20, 13: written from T 30
AGAIN:  STA     8104H           ; and the same again and again
        CALL    PUSHES          ; and the same return address
        JMP     AGAIN
PUSHES: RET
"""


def test_stretches_in_which_a_byte_was_only_written_over_are_not_made_anew() -> None:
    machine = rig(SAME, 60)
    history = History(machine, apart=0.0)
    for _ in range(40):
        machine.run(t_states=400)
    resting = rests_of(machine)
    last, change = told(history, 0x8104)
    assert change == 30 and last is not None and last > machine.t - 60
    assert resting.count < 12  # the first stretch alone, of forty
