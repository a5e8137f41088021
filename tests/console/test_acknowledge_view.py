"""What the bus view says of a CALL that a controller jams.

The sequence INTA, INTA, INTA, write, write is that of the User's Manual, October
1979, interrupt section (value from memory).
"""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.console.views.acknowledge import jammed_text
from emu85.console.views.code import instruction_of
from emu85.firmware import assemble
from emu85.machine import Machine

BOARD = """
name: jam
crystal: 6.144 MHz
memory:
  - {ram: 64K, at: 0000-FFFF, code: yes}
ports:
  - {device: latch, name: ask, at: 20, clear: yes}
wired:
  - {device: vector, name: jam, %s}
lines:
  INTR: jam.intr
  jam.request: ask.q0
"""
FIRMWARE = " LXI SP,9000H\n EI\n MVI A,1\n OUT 20H\n NOP\n NOP\n NOP\n HLT"


def acknowledged(jams: str) -> Machine:
    """Held after the whole acknowledge."""
    machine = Machine.from_text(BOARD % jams)
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA then MW then MW")
    machine.run(t_states=1000)
    return machine


def texts(machine: Machine) -> list[str]:
    records = machine.trace.all()
    return [jammed_text(machine.trace, r) for r in records if r["type"] == Cycle.INA]


def test_only_the_first_byte_of_a_call_is_an_opcode() -> None:
    # The operand bytes, 23 and 01, would be INX H and LXI B if they were opcodes.
    assert texts(acknowledged("call: 0123")) == [
        "CALL 0123H jammed",
        "CALL jammed, byte 2 of 3",
        "CALL jammed, byte 3 of 3",
    ]


def test_a_restart_is_one_byte() -> None:
    assert texts(acknowledged("rst: 5")) == ["RST 5 jammed"]


@pytest.mark.parametrize(
    ("cycles", "shown"),
    [
        (1, "CALL addr jammed   (machine cycle 1)"),
        (2, "CALL addr jammed   (machine cycle 2)"),
        (3, "CALL 0123H jammed   (machine cycle 3)"),
        (4, "CALL 0123H jammed   (machine cycle 4)"),
        (5, "CALL 0123H jammed   (machine cycle 5)"),
    ],
)
def test_the_panel_counts_the_cycles_of_the_acknowledge(cycles: int, shown: str) -> None:
    machine = Machine.from_text(BOARD % "call: 0123")
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA")
    machine.run(t_states=1000)
    machine.stops.clear()
    machine.step(cycles - 1)
    assert instruction_of(machine) == shown


def test_an_acknowledge_whose_beginning_is_forgotten_names_no_instruction() -> None:
    machine = Machine.from_text(BOARD % "call: 0123", trace=2)
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA after 2")
    machine.run(t_states=1000)
    assert texts(machine) == ["interrupt acknowledge"] * 2


def test_a_hold_within_an_acknowledge_is_no_part_of_it() -> None:
    machine = Machine.from_text(BOARD % "call: 0123")
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA")
    machine.run(t_states=1000)
    machine.stops.clear()
    now = machine.t
    machine.schedule.at(now + 1, lambda: machine.drive(Line.HOLD, 1))
    machine.schedule.at(now + 20, lambda: machine.drive(Line.HOLD, 0))
    while machine.trace[-1]["type"] != Cycle.MW:
        machine.step()
    kinds = [Cycle(int(r["type"])) for r in machine.trace.all()]
    first = kinds.index(Cycle.INA)
    assert Cycle.HOLD in kinds[first : len(kinds) - 1 - kinds[::-1].index(Cycle.INA)]
    assert texts(machine) == [
        "CALL 0123H jammed",
        "CALL jammed, byte 2 of 3",
        "CALL jammed, byte 3 of 3",
    ]
    assert instruction_of(machine) == "CALL 0123H jammed   (machine cycle 4)"


def test_a_panel_of_a_forgotten_beginning_counts_no_cycles() -> None:
    machine = Machine.from_text(BOARD % "call: 0123", trace=2)
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA after 2")
    machine.run(t_states=1000)
    assert instruction_of(machine) == "interrupt acknowledge"
    machine.step()
    assert instruction_of(machine) == "interrupt acknowledge"


def test_three_cycles_are_a_whole_acknowledge_whatever_came_before() -> None:
    machine = Machine.from_text(BOARD % "call: 0123", trace=3)
    machine.load(assemble(FIRMWARE, "jam.asm").image)
    machine.stops.add("on INA after 2")
    machine.run(t_states=1000)
    assert texts(machine)[2] == "CALL jammed, byte 3 of 3"
    assert instruction_of(machine) == "CALL 0123H jammed   (machine cycle 3)"
