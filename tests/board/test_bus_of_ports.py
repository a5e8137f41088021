"""Three 8255As whose port A pins are one bus, moved by firmware.

What each should see follows from the wires alone: one drives, the others are inputs.
"""

from __future__ import annotations

from emu85.machine import Machine
from tests.published.chips.bench import BEGIN, MACROS, head, kept, load, run_to

BOARD = (
    head("6 MHz")
    + """
ports:
  - {device: 8255A, name: p, at: 10-13}
  - {device: 8255A, name: q, at: 20-23}
  - {device: 8255A, name: m, at: 30-33}
lines:
  p.pa0-pa7: [q.pa0-pa7, m.pa0-pa7]
"""
)

LINE = BOARD[: BOARD.index("p.pa0-pa7")].count("\n") + 1

IN, OUT = "9BH", "8BH"
"""Control words: all ports in; port A out, the others in (8255A data sheet, mode
definition format; values from memory)."""


def ran(*firmware: str) -> Machine:
    machine = Machine.from_text(BOARD, file="bus.yaml", trace=1000)
    run_to(machine, load(machine, MACROS, BEGIN, *firmware), 100_000)
    return machine


def test_each_drives_in_turn_and_both_others_see_it() -> None:
    turns = [
        f"PUT {here}3H, {OUT}\n PUT {here}0H, {value}H\n KEEP {first}0H\n KEEP {second}0H\n"
        f" PUT {here}3H, {IN}\n"
        for here, first, second, value in ((1, 2, 3, 35), (2, 1, 3, 46), (3, 1, 2, 57))
    ]
    machine = ran(*turns)
    assert kept(machine) == [0x35, 0x35, 0x46, 0x46, 0x57, 0x57]
    assert machine.findings.noted == []


def test_two_that_drive_at_once_are_a_finding_for_each_wire_they_differ_on() -> None:
    machine = ran(
        f"PUT 13H, {OUT}\n PUT 23H, {OUT}\n PUT 10H, 35H\n PUT 20H, 30H\n KEEP 30H\n",
        f" PUT 10H, 30H\n PUT 23H, {IN}\n KEEP 30H",
    )
    assert kept(machine) == [0x30, 0x30]
    # Mode words clear the latches: first 35 stands against 00, then against 30.
    where = {each.where: each.times for each in machine.findings.noted}
    assert where == {f"p.pa{bit} and q.pa{bit} (bus.yaml:{LINE})": 1 for bit in (0, 2, 4, 5)}
