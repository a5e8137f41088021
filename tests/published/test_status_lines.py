"""What IO/M, S1, S0 and the strobes show in every machine cycle and state.

Source: 8085AH data sheet and MCS-80/85 Family User's Manual (October 1979), the
8085A machine cycle chart; values from memory.  ``None`` is high impedance.  The
column ALE, a pulse in T1 or none, is from the same manual's timing diagrams and its
note that the second and third machine cycles of DAD have none (value from memory).
"""

from __future__ import annotations

import pytest

from emu85.bus.cycles import BI_ACKNOWLEDGE, LEVELS, Cycle
from emu85.bus.lines import Line

from .harness import Rig, Seen

CHART = """
# cycle                    type   IO/M S1 S0  RD WR INTA ALE
opcode fetch               OF     0    1  1   0  1  1    1
memory read                MR     0    1  0   0  1  1    1
memory write               MW     0    0  1   1  0  1    1
I/O read                   IOR    1    1  0   0  1  1    1
I/O write                  IOW    1    0  1   1  0  1    1
interrupt acknowledge      INA    1    1  1   1  1  0    1
bus idle: DAD              BI     0    1  0   1  1  1    0
bus idle: RST x.5, TRAP    BI/ACK 1    1  1   1  1  1    1
bus idle: halt             HALT   TS   0  0   TS TS 1    0
hold                       HOLD   TS   X  X   TS TS 1    0
reset                      RESET  TS   X  X   TS TS 1    0
"""
"""TS: high impedance; X: unspecified, so not judged."""

ROWS = [line[27:].split() for line in CHART.splitlines() if line and not line.startswith("#")]
BY_TYPE = {row[0]: row[1:] for row in ROWS}
LEVEL = {"0": 0, "1": 1, "TS": None}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_the_emulator_s_chart(row: list[str]) -> None:
    """The levels the views draw are those of the printed chart."""
    kind, *expected = row
    levels = BI_ACKNOWLEDGE if kind == "BI/ACK" else LEVELS[Cycle[kind]]
    status = (levels.io_m, levels.s1, levels.s0)
    drawn = (*status, levels.rd, levels.wr, levels.inta, levels.ale)
    for level, printed in zip(drawn, expected, strict=True):
        if printed != "X":
            assert level == LEVEL[printed]


def check(cycle: Seen, row: str) -> None:
    """A cycle of the trace shows the status of a row of the chart, where it is specified."""
    for level, printed in zip((cycle.io_m, cycle.s1, cycle.s0), BY_TYPE[row][:3], strict=True):
        if printed in "01":
            assert level == int(printed), (cycle, row)


@pytest.fixture
def rig() -> Rig:
    rig = Rig()
    rig.fill(bytes(0x10000))
    rig.machine.reset()
    rig.set(SP=0x8000)
    return rig


def test_status_of_the_machine_cycles_of_a_program(rig: Rig) -> None:
    """One instruction for each row that a program can reach."""
    rig.put(0, [0x3A, 0x00, 0x90, 0x32, 0x00, 0x90, 0xDB, 0x10, 0xD3, 0x10, 0x09])
    kinds = {}
    for _ in range(5):
        for cycle in rig.instruction():
            check(cycle, cycle.type)
            kinds[cycle.type] = True
    assert set(kinds) == {"OF", "MR", "MW", "IOR", "IOW", "BI"}


def test_status_of_the_acknowledgements(rig: Rig) -> None:
    """INA of INTR, and the bus idle cycle of TRAP, whose IO/M is high unlike that of DAD."""
    rig.machine.registers.ie = 1
    rig.drive(Line.INTR, 1)
    rig.acknowledge_with(0xFF)
    check(rig.until_acknowledged()[0], "INA")
    rig.drive(Line.INTR, 0)
    rig.drive(Line.TRAP, 1)
    check(rig.until_acknowledged()[0], "BI/ACK")


def test_status_in_halt_and_hold(rig: Rig) -> None:
    """S1 = S0 = 0 in the halt state; HLDA is high in the hold state only."""
    rig.put(0, [0x76])
    rig.instruction()
    start = rig.machine.t
    rig.drive_at(start + 10, Line.HOLD, 1)
    rig.drive_at(start + 20, Line.HOLD, 0)
    total = rig.machine.trace.total
    rig.machine.run(t_states=50)
    seen = rig.cycles_since(total)
    halts = [cycle for cycle in seen if cycle.type == "HALT"]
    holds = [cycle for cycle in seen if cycle.type == "HOLD"]
    assert halts
    assert holds
    for cycle in halts:
        check(cycle, "HALT")
        assert not cycle.lines & Line.HLDA
    for cycle in holds:
        assert cycle.lines & Line.HLDA
