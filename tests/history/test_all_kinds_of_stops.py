"""Stops of all kinds, drawn at random, are gone back to as a search of all records has it.

The machine remembers few records and has many snapshots, so nearly all that is found is
found in what has been forgotten.  Another machine remembers everything: its records are
matched here, cycle by cycle, with nothing of the project's own matching.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.history.history import History
from emu85.history.seeking import Seeker
from emu85.history.wanted import of_last_steps
from emu85.machine import Machine
from emu85.stops import parse
from tests.history.test_random_moments import LISTENER
from tests.rig import rig

TYPES = ("OF", "MR", "MW", "IOR", "IOW", "INA", "BI", "HALT")
IO = ("IOR", "IOW")
FEW_RECORDS = 300


EVERYWHERE = """
        ORG     0
        LXI     SP,9000H
        LXI     H,8100H
again:  MOV     A,M             ; written by way of the mirror, and by hand
        ADI     37H
        STA     0A140H
        STA     0D010H          ; two chips at once
        LDA     0D011H
        STA     0E800H          ; a converter in the memory space
        LDA     0E800H
        INX     H
        MOV     A,L
        ANI     0C7H            ; a MVI of some register, made and carried out
        ORI     06H
        CPI     36H
        JZ      again
        STA     0C000H
        MVI     A,0C9H
        STA     0C002H
        CALL    0C000H
        IN      00H
        OUT     20H
        JMP     again
"""


class Want(NamedTuple):
    """One step: types, address range, data range, and matches to let go by."""

    types: tuple[str, ...]
    low: int
    high: int
    data_low: int
    data_high: int
    passes: int

    @property
    def text(self) -> str:
        ports = set(self.types) <= set(IO)
        digits = 2 if ports else 4
        is_anywhere = (self.low, self.high) == (0, 0xFFFF)
        where = "" if is_anywhere else f" at {self.low:0{digits}X}-{self.high:0{digits}X}"
        data = "" if self.data_high - self.data_low == 255 else self._data
        after = f" after {self.passes}" if self.passes else ""
        return f"on {','.join(self.types)}{where}{data}{after}"

    @property
    def _data(self) -> str:
        return f" data {self.data_low:02X}-{self.data_high:02X}"

    def met(self, records: NDArray[np.void]) -> NDArray[np.bool_]:
        ports = set(self.types) <= set(IO)
        address = records["address"] & 0xFF if ports else records["address"]
        data = records["data"]
        return (
            np.isin(records["type"], [int(Cycle[name]) for name in self.types])
            & (address >= self.low)
            & (address <= self.high)
            & (data >= self.data_low)
            & (data <= self.data_high)
        )


def drawn(rng: random.Random, records: NDArray[np.void], *, passes: int) -> Want:
    """A step like some cycle there was, or like none."""
    record = records[rng.randrange(len(records))]
    name = Cycle(int(record["type"])).name
    types = tuple(
        {name if name in TYPES else "OF", rng.choice(TYPES[:5])}
        if rng.random() < 0.3
        else {name if name in TYPES else "OF"}
    )
    ports = set(types) <= set(IO)
    span = 0xFF if ports else 0xFFFF
    low, high = 0, 0xFFFF
    if rng.random() < 0.6:
        low = int(record["address"]) & span
        high = min(span, low + rng.choice((0, 0, 1, 40)))
    data_low, data_high = 0, 0xFF
    if rng.random() < 0.7:
        data_low = int(record["data"]) if rng.random() < 0.7 else rng.randrange(256)
        data_high = min(255, data_low + rng.choice((0, 0, 0, 3)))
    return Want(types, low, high, data_low, data_high, passes)


def last_hit(steps: Sequence[Want], records: NDArray[np.void]) -> int:
    """When the last hit began of a stop that is armed only now, all records being before it."""
    met = [step.met(records) for step in steps]
    if len(steps) == 1:
        found = np.flatnonzero(met[0])
        skipped = steps[0].passes
        return int(records["t"][found[-1 - skipped]]) if len(found) > skipped else -1
    at = seen = 0
    hit = -1
    for n in np.flatnonzero(np.logical_or.reduce(met)).tolist():
        if not met[at][n]:
            continue
        if seen < steps[at].passes:
            seen += 1
            continue
        at, seen = at + 1, 0
        if at == len(steps):
            at, hit = 0, int(records["t"][n])
    return hit


def on_board(name: str) -> Machine:
    machine = Machine.from_board(name, trace=FEW_RECORDS)
    assert machine.board.firmware is not None
    machine.load(machine.board.firmware)
    return machine


def machine_of(name: str) -> Machine:
    programs = {"listener": LISTENER, "everywhere": EVERYWHERE}
    return rig(programs[name], FEW_RECORDS) if name in programs else on_board(name)


def ran(machine: Machine, rng: random.Random, t_states: int, pieces: int) -> NDArray[np.void]:
    """All records of a run in pieces, with bytes put into memory between some of them."""
    ram = 0xA000 if machine.board.description.name == "saltmarsh" else 0x8100
    records = [machine.trace.last(1)]
    for _ in range(pieces):
        end = machine.t + rng.randrange(1, 2 * t_states // pieces)
        while machine.t < end:
            first = machine.trace.total
            machine.run(t_states=min(600, end - machine.t), wait=True)
            records.append(machine.trace.last(machine.trace.total - first))
        if rng.random() < 0.2:
            machine.memory[ram + rng.randrange(64)] = rng.randrange(256)
        if machine.serial and rng.random() < 0.3:
            machine.serial.send(bytes([rng.randrange(256)]))
    return np.concatenate(records)


@pytest.mark.parametrize("board", ["listener", "everywhere", "gantry", "saltmarsh", "breakwater"])
@pytest.mark.parametrize("steps", [1, 2, 3])
def test_stops_drawn_at_random(board: str, steps: int) -> None:
    rng = random.Random(f"{board} {steps}")
    machine = machine_of(board)
    history = History(machine, apart=0.0, most=40)
    records = ran(machine, rng, 400_000, 60)
    assert len(records) > 20 * FEW_RECORDS
    found_some = 0
    for _ in range(25):
        history.go_to(rng.randrange(machine.t // 2, history.latest_t))
        before = records[records["t"] < machine.trace[-1]["t"]]
        numbers = (0, 0, 1, 3, 20) if steps == 1 else (0, 0, 0, 1, 5)
        wants = [drawn(rng, records, passes=rng.choice(numbers)) for _ in range(steps)]
        stop = machine.stops.add(" then ".join(want.text for want in wants))
        expected, here = last_hit(wants, before), machine.t
        was_found = history.back_to_stop([stop])
        assert was_found == (expected >= 0), stop.text
        if was_found:
            found_some += 1
            assert int(machine.trace[-1]["t"]) == expected, stop.text
        else:
            assert machine.t == here
        machine.stops.drop(stop.number)
    assert found_some > 4


@pytest.mark.parametrize("board", ["gantry", "saltmarsh", "breakwater"])
def test_a_byte_that_never_went_by_need_not_be_searched_for(board: str) -> None:
    """Such a byte is one that is nowhere in what is read, and is never written."""
    rng = random.Random(board)
    machine = on_board(board)
    history = History(machine, apart=0.0, most=40)
    for _ in range(40):
        machine.run(t_states=100_000, wait=True)
    records = machine.trace.all()
    assert len(records) == FEW_RECORDS
    seeker = Seeker(history)
    rom = set(machine.memory[0:0x2000])
    never = [byte for byte in range(256) if byte not in rom]
    assert never
    byte = rng.choice(never)
    for text, is_searched in ((f"on OF data {byte:02X}", False), ("on OF data 00-FF", True)):
        wanted = of_last_steps([parse(text)])
        assert bool(list(seeker.stretches(machine.t, wanted=wanted))) == is_searched
