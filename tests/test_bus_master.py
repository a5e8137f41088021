"""Stops and findings on the cycles of a bus master other than the CPU."""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import FindingKind
from emu85.firmware import assemble
from emu85.machine import Machine, Reason
from emu85.stops import match, parse
from tests.pump import BOARD


def machine_that_fills(start: int, count: int) -> Machine:
    """Firmware has channel 0 of an 8257 write ``count`` bytes from ``start`` on."""
    firmware = f"""
        ORG 0
        MVI A, {start & 0xFF}
        OUT 40H
        MVI A, {start >> 8}
        OUT 40H
        MVI A, {count - 1}
        OUT 41H
        MVI A, 40H          ; bits 15, 14 = 01: peripheral to memory
        OUT 41H
        MVI A, 41H          ; TC stop, channel 0
        OUT 48H
        MVI A, 1
        OUT 20H
        NOP
        HLT
    """
    machine = Machine.from_text(BOARD)
    machine.load(assemble(firmware, "pump.asm").image)
    return machine


def test_a_stop_holds_at_the_cycle_of_a_bus_master() -> None:
    machine = machine_that_fills(0x8100, 5)
    stop = machine.stops.add("on MW at 8102 data 5A with HLDA high")
    held = machine.run(t_states=10_000)
    assert held.reason is Reason.STOP and held.stops == (stop,)
    last = machine.trace[-1]
    assert (last["type"], last["address"], last["data"]) == (Cycle.MW, 0x8102, 0x5A)
    assert list(machine.memory[0x8100:0x8105]) == [0x5A, 0x5A, 0x5A, 0, 0]
    assert machine.run(t_states=10_000).reason is Reason.HALTED
    assert list(machine.memory[0x8100:0x8106]) == [0x5A] * 5 + [0]
    assert stop.hits == 1


@pytest.mark.parametrize(
    "condition",
    [
        "on MW",
        "on MW after 2",
        "on MW at 8101 then MW at 8103",
        "with HLDA rises",
        "on IOW then MW",
    ],
)
def test_stops_and_the_search_of_the_trace_agree(condition: str) -> None:
    """Both are told of the same cycles, the master's among them."""
    machine = machine_that_fills(0x8100, 5)
    machine.stops.add(condition)
    held_at = []
    while (held := machine.run(t_states=10_000)).reason is Reason.STOP:
        held_at.append(int(machine.trace[-1]["t"]))
    assert held.reason is Reason.HALTED
    records = machine.trace.all()
    assert held_at == records["t"][match(parse(condition), records)].tolist()
    assert held_at


def test_stops_change_nothing_in_what_happens() -> None:
    plain = machine_that_fills(0x8100, 5)
    plain.run(t_states=10_000)
    stopped = machine_that_fills(0x8100, 5)
    stopped.stops.add("on any with HLDA high")
    while stopped.run(t_states=10_000).reason is Reason.STOP:
        pass
    assert plain.trace.all().tobytes() == stopped.trace.all().tobytes()


def test_a_bus_master_that_writes_to_rom_is_found() -> None:
    machine = machine_that_fills(0x0700, 2)
    machine.run(t_states=10_000)
    found = [(f.kind, f.address) for f in machine.findings]
    assert found == [(FindingKind.ROM_WRITE, 0x0700), (FindingKind.ROM_WRITE, 0x0701)]
    marked = [
        int(r["lines"]) & Line.FINDING != 0 for r in machine.trace.all() if r["type"] == Cycle.MW
    ]
    assert marked == [True, True]
