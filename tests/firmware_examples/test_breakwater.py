"""Every type of machine cycle, and both interrupts, on the harbour light."""

from __future__ import annotations

from fractions import Fraction

from emu85.bus.cycles import Cycle
from emu85.machine import Machine


def running() -> Machine:
    machine = Machine.from_board("breakwater")
    firmware = machine.board.firmware
    assert firmware is not None
    machine.load(firmware)
    return machine


def test_every_type_of_machine_cycle_goes_by() -> None:
    machine = running()
    machine.run(t_states=10_000, wait=True)
    machine.board.adjust("hold", "press")
    machine.run(t_states=10_000, wait=True)
    assert {Cycle(int(one)) for one in machine.trace.all()["type"]} == set(Cycle)


def test_interrupts_come_as_often_as_their_clocks_tick() -> None:
    machine = running()
    machine.run(seconds=1.0001, wait=True)
    steps = machine.memory[0x8000] | machine.memory[0x8001] << 8
    assert steps == 2000
    assert machine.memory[0x8002] == 700 % 256
    assert list(machine.findings) == []


def test_the_switches_say_which_lamps_wink() -> None:
    machine = running()
    machine.board.adjust("wink", "value", "A5")
    machine.run(t_states=int(Fraction(3_072_000) * Fraction(3, 1000)), wait=True)
    shown = machine.trace.all()
    written = shown[shown["type"] == Cycle.IOW]["data"]
    assert written.tolist() == [0xA5 if n % 2 else 0 for n in range(1, len(written) + 1)]
    assert len(written) == 5
