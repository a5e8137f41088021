"""Waits of interrupts when TRAP comes in the acknowledge of another, counted by hand.

T-states from the MCS-80/85 Family User's Manual, October 1979 (values from memory): JMP
4 + 3 + 3, RET 10, NOP 4, EI 4; an acknowledge of TRAP or RST x.5 6 + 3 + 3, of INTR with
RST the same.
"""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.machine import Machine
from emu85.profile.latency import Latencies, Latency
from tests.rig import rig

PROGRAM = """
        JMP     START
        ORG     24H             ; TRAP
{trap}
        ORG     28H             ; what INTR brings
{rst5}
        ORG     2CH
{rst55}
        ORG     34H
        RET
        ORG     3CH
        RET
        ORG     60H
START:  LXI     SP,9000H
        MVI     A,08H           ; no mask
        SIM
        EI
HERE:   JMP     HERE
"""
_ON = " NOP\n" * 4 + " RET"
ACKNOWLEDGED = 10 + 6
"""T-states from the start of JMP to the first push of the acknowledge behind it."""
TRAP_FETCH = 10 + 12 + 12


def overtaken(
    line: Line, trap: str = "RET", rst5: str = "RET", rst55: str = "RET"
) -> tuple[Machine, int]:
    """A machine after both services, and when the JMP began in which a line rose."""
    machine = rig(PROGRAM.format(trap=trap, rst5=rst5, rst55=rst55))
    machine.run(until=machine.symbols["HERE"])
    began = machine.t
    machine.drive(line, 1)
    machine.step(4)  # of JMP, and the first of the acknowledge
    assert machine.t == began + ACKNOWLEDGED
    machine.drive(Line.TRAP, 1)
    machine.step(1)
    machine.drive(line, 0)
    machine.run(until=machine.symbols["HERE"])
    return machine, began


def measured(machine: Machine, *cuts: int) -> dict[str, Latency]:
    """Rows by name, the records fed in pieces that end at the cuts."""
    latencies = Latencies()
    records = machine.trace.all()
    for low, high in zip((0, *cuts), (*cuts, len(records)), strict=True):
        latencies.feed(records[low:high])
    latencies.finish(machine.t)
    return {row.line: row for row in latencies.rows()}


@pytest.mark.parametrize(
    ("line", "name", "first"),
    [
        (Line.RST75, "RST 7.5", 0x3C),
        (Line.RST65, "RST 6.5", 0x34),
        (Line.RST55, "RST 5.5", 0x2C),
        (Line.INTR, "INTR", 0x28),
    ],
)
def test_the_first_of_two_acknowledges_is_served_when_trap_goes_back(
    line: Line, name: str, first: int
) -> None:
    machine, began = overtaken(line)
    kinds = machine.trace.all()["type"].tolist()
    first_cycle = Cycle.INA if line is Line.INTR else Cycle.BI
    assert [k for k in kinds if k in (Cycle.BI, Cycle.INA)] == [first_cycle, Cycle.BI]
    rows = measured(machine)
    assert sorted(rows) == sorted([name, "TRAP"])
    # What is driven while the machine rests is seen by the next machine cycle.
    trap, other = rows["TRAP"], rows[name]
    assert (trap.served, trap.worst, trap.first) == (1, TRAP_FETCH - ACKNOWLEDGED, 0x24)
    assert (other.served, other.worst) == (1, TRAP_FETCH + 10)
    assert (other.first, other.worst_t) == (first, began + TRAP_FETCH + 10)
    assert other.interrupted == machine.symbols["HERE"]


def test_wherever_the_records_are_cut() -> None:
    machine, _ = overtaken(Line.RST75)
    whole = measured(machine)
    for cut in range(1, len(machine.trace)):
        assert measured(machine, cut) == whole
    assert measured(machine, *range(1, len(machine.trace))) == whole


def test_an_ei_in_traps_service_is_not_what_it_has_waited_for() -> None:
    machine, _ = overtaken(Line.RST75, trap="EI\n RET")
    row = measured(machine)["RST 7.5"]
    assert (row.worst, row.disabled) == (TRAP_FETCH + 4 + 10, 0)


def test_traps_code_may_run_on_through_the_restart_address() -> None:
    """NOPs from 24 to 2F: 2C is not the service of RST 5.5 before TRAP's has gone back."""
    machine, began = overtaken(Line.RST55, trap=" NOP\n" * 4, rst5=" NOP\n" * 4, rst55=_ON)
    row = measured(machine)["RST 5.5"]
    assert (row.served, row.worst_t) == (1, began + TRAP_FETCH + 12 * 4 + 10)


def test_trap_that_never_goes_back_leaves_the_other_unserved() -> None:
    machine, _ = overtaken(Line.RST75, trap="JMP HERE")
    rows = measured(machine)
    assert (rows["TRAP"].served, "RST 7.5" in rows) == (1, False)
