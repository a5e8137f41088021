"""The data sheet's and the manual's timing figures, level by level.

Sources: as in ``figures.py``, where they are typed by hand (values from memory).  Here
firmware runs, and the T-states of its machine cycles are held against them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.expand import State, expand
from emu85.bus.lines import Line
from emu85.bus.pins import UNDEFINED, Level
from emu85.machine import Machine

from . import figures
from .harness import Rig

SYMBOLS: dict[Level, str] = {None: "z", UNDEFINED: "x"}


def text_of(level: Level, pin: str) -> str:
    """A level as the figures write it."""
    if level in SYMBOLS:
        return SYMBOLS[level]
    assert isinstance(level, int)
    return f"{level:02X}" if pin in ("A8-A15", "AD0-AD7") else str(level)


def read(figure: str, record: Any) -> tuple[list[str], dict[str, list[str]]]:
    """Names of the T-states, and the symbols of each pin, bytes of the record filled in."""
    heading, *rows = figure.strip("\n").split("\n")
    address = int(record["address"])
    bytes_ = {"hh": address >> 8, "ll": address & 0xFF, "dd": int(record["data"])}
    pins = {}
    for row in rows:
        name, symbols = row[:11].strip(), row[11:].split()
        pins[name] = [f"{bytes_[one]:02X}" if one in bytes_ else one for one in symbols]
    return heading.split(), pins


def compare(states: list[State], figure: str, record: Any) -> None:
    """Hold T-states against a figure; what differs is told pin by pin."""
    names, pins = read(figure, record)
    assert [state.name for state in states] == names
    wrong = []
    for pin, wanted in pins.items():
        assert len(wanted) == 2 * len(names), pin
        seen = [text_of(half[pin], pin) for one in states for half in (one.first, one.second)]
        if any(a not in (".", b) for a, b in zip(wanted, seen, strict=True)):
            wrong.append(f"{pin:<10} wanted {' '.join(wanted)}\n{'':<10} seen   {' '.join(seen)}")
    assert not wrong, "\n".join(wrong)


def states_of(machine: Machine, records: NDArray[np.void], place: int) -> list[State]:
    """The T-states of one machine cycle, with what follows it known."""
    after = records[place + 1] if place + 1 < len(records) else None
    end = machine.t if after is None else int(after["t"])
    return list(expand(records[place : place + 1], end, after=after))


def check(machine: Machine, kind: Cycle, figure: str, which: int = 0) -> None:
    """Hold the machine cycle of a kind (the first, or a later one) against a figure."""
    records = machine.trace.all()
    place = np.flatnonzero(records["type"] == kind)[which]
    compare(states_of(machine, records, int(place)), figure, records[place])


@pytest.fixture
def ran() -> Callable[[str], Machine]:
    """Runs a few instructions from address 1200."""

    def run(text: str, t_states: int = 60) -> Machine:
        rig = Rig()
        rig.machine.reset()
        rig.assemble(f" ORG 1200H\n{text}\n NOP\n NOP\n NOP\n")
        rig.set(PC=0x1200, SP=0x8765, H=0x9A, L=0xBC, A=0x5D)
        rig.machine.run(t_states=t_states)
        return rig.machine

    return run


def test_opcode_fetch_of_four_and_of_six_t_states(ran: Callable[[str], Machine]) -> None:
    check(ran("MOV A,B"), Cycle.OF, figures.OPCODE_FETCH_4)
    check(ran("INX H"), Cycle.OF, figures.OPCODE_FETCH_6)


def test_memory_read_and_write(ran: Callable[[str], Machine]) -> None:
    check(ran("MOV B,M"), Cycle.MR, figures.MEMORY_READ)
    check(ran("MOV M,A"), Cycle.MW, figures.MEMORY_WRITE)
    check(ran("PUSH H"), Cycle.MW, figures.MEMORY_WRITE, 1)


def test_io_read_and_write(ran: Callable[[str], Machine]) -> None:
    machine = ran("IN 47H\n OUT 0C3H")
    check(machine, Cycle.IOR, figures.IO_READ)
    check(machine, Cycle.IOW, figures.IO_WRITE)
    records = machine.trace.all()
    assert [int(one) for one in records["address"][records["type"] == Cycle.IOR]] == [0x4747]
    assert [int(one) for one in records["address"][records["type"] == Cycle.IOW]] == [0xC3C3]


@pytest.mark.parametrize(
    ("waits", "code", "kind", "figure"),
    [
        (1, [0x7E], Cycle.MR, figures.READ_WITH_A_WAIT_STATE),
        (2, [0x77], Cycle.MW, figures.WRITE_WITH_TWO_WAIT_STATES),
    ],
)
def test_wait_states(waits: int, code: list[int], kind: Cycle, figure: str) -> None:
    machine = Machine.from_text(
        "name: slow\ncrystal: 6 MHz\nmemory:\n"
        "  - {ram: 32K, at: 0000-7FFF, code: yes}\n"
        f"  - {{ram: 32K, at: 8000-FFFF, waits: {waits}}}\n"
    )
    machine.board.poke_all([(0x100 + n, byte) for n, byte in enumerate([*code, 0, 0])])
    machine.registers.pc, machine.registers.hl, machine.registers.a = 0x100, 0x8123, 0xA7
    machine.run(t_states=20)
    check(machine, kind, figure)


def test_interrupt_acknowledge_with_rst() -> None:
    rig = Rig()
    rig.machine.reset()
    rig.set(PC=0x1200, SP=0x8000)
    rig.machine.registers.ie = 1
    rig.drive(Line.INTR, 1)
    rig.acknowledge_with(0xEF)
    rig.machine.run(t_states=30)
    check(rig.machine, Cycle.INA, figures.INTA_6)
    check(rig.machine, Cycle.MW, figures.MEMORY_WRITE)
    check(rig.machine, Cycle.MW, figures.MEMORY_WRITE, 1)
    assert bytes(rig.machine.memory[0x7FFE:0x8000]) == b"\x00\x12"


def test_interrupt_acknowledge_with_call() -> None:
    rig = Rig()
    rig.machine.reset()
    rig.set(PC=0x1200, SP=0x8000)
    rig.machine.registers.ie = 1
    rig.drive(Line.INTR, 1)
    rig.acknowledge_with(0xCD, 0x34, 0x56)
    rig.machine.run(t_states=40)
    check(rig.machine, Cycle.INA, figures.INTA_6)
    check(rig.machine, Cycle.INA, figures.INTA_3, 1)
    check(rig.machine, Cycle.INA, figures.INTA_3, 2)
    check(rig.machine, Cycle.MW, figures.MEMORY_WRITE)
    check(rig.machine, Cycle.MW, figures.MEMORY_WRITE, 1)


def test_bus_idle_of_dad(ran: Callable[[str], Machine]) -> None:
    machine = ran("DAD D")
    check(machine, Cycle.BI, figures.BUS_IDLE_OF_DAD)
    check(machine, Cycle.BI, figures.BUS_IDLE_OF_DAD, 1)


@pytest.mark.parametrize("line", [Line.TRAP, Line.RST75, Line.RST65, Line.RST55])
def test_acknowledge_of_trap_and_rst(line: Line) -> None:
    rig = Rig()
    rig.machine.reset()
    rig.set(PC=0x1200, SP=0x8000)
    rig.machine.registers.ie, rig.machine.registers.masks = 1, 0
    rig.machine.run(t_states=8)
    rig.drive(line, 1)
    rig.machine.run(t_states=30)
    check(rig.machine, Cycle.BI, figures.BUS_IDLE_OF_AN_ACKNOWLEDGE)
    check(rig.machine, Cycle.MW, figures.MEMORY_WRITE)


def test_halt_and_how_an_interrupt_ends_it() -> None:
    rig = Rig()
    rig.machine.reset()
    rig.put(0x1200, [0x76])
    rig.set(PC=0x1200, SP=0x8000)
    rig.machine.run(t_states=7)
    rig.drive_at(rig.machine.t + 6, Line.TRAP, 1)
    rig.machine.run(t_states=30)
    records = rig.machine.trace.all()
    halt = int(np.flatnonzero(records["type"] == Cycle.HALT)[0])
    states = [one for n in (halt, halt + 1) for one in states_of(rig.machine, records, n)]
    halted = [one for one in states if one.name == "THALT"]
    compare(halted[:3], figures.HALT, records[halt])
    later = int(np.flatnonzero(records["type"] == Cycle.BI)[0])
    assert set(records["type"][halt:later].tolist()) == {int(Cycle.HALT)}
    check(rig.machine, Cycle.BI, figures.BUS_IDLE_OF_AN_ACKNOWLEDGE)


def test_into_hold_and_out_of_it() -> None:
    rig = Rig()
    rig.machine.reset()
    rig.set(PC=0x1200)
    rig.put(0x1200, [0] * 64)
    rig.machine.run(t_states=8)
    rig.drive_at(rig.machine.t + 1, Line.HOLD, 1)
    rig.drive_at(rig.machine.t + 20, Line.HOLD, 0)
    rig.machine.run(t_states=60)
    records = rig.machine.trace.all()
    hold = int(np.flatnonzero(records["type"] == Cycle.HOLD)[0])
    before = states_of(rig.machine, records, hold - 1)
    held = states_of(rig.machine, records, hold)
    after = states_of(rig.machine, records, hold + 1)
    compare([*before, *held[:2]], figures.INTO_HOLD, records[hold - 1])
    compare([*held[-2:], after[0]], figures.OUT_OF_HOLD, records[hold + 1])


def test_reset() -> None:
    rig = Rig()
    rig.machine.reset()
    records = rig.machine.trace.all()
    compare(states_of(rig.machine, records, len(records) - 1)[:3], figures.RESET, records[-1])


def test_a_wrong_level_would_be_noticed(ran: Callable[[str], Machine]) -> None:
    right = "RD         1  1  0  0  0  1"
    assert right in figures.MEMORY_READ
    wrong = figures.MEMORY_READ.replace(right, "RD         1  1  0  0  1  1")
    with pytest.raises(AssertionError, match="RD"):
        check(ran("MOV B,M"), Cycle.MR, wrong)
