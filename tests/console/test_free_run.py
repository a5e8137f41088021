"""Runs cut into slices by the throttle, and runs that are paced."""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle
from emu85.console.motion import FreeRun, Pace
from emu85.machine import Machine, Reason

BOARD = """
name: strip
crystal: 6.144 MHz
memory:
  - ram: 64K
    at: 0000-FFFF
    code: yes
"""


class Slices:
    """A throttle that lets the machine run so many T-states a slice."""

    def __init__(self, t_states: int) -> None:
        self._t_states = t_states

    def begin(self, t: int) -> None:
        pass

    def slice_begins(self, t: int) -> int:
        return self._t_states

    def slice_ended(self, t: int) -> float:
        return 0.0


@pytest.mark.parametrize("length", range(1, 13))
def test_an_address_is_not_missed_where_a_slice_ends(length: int) -> None:
    machine = Machine.from_text(BOARD)
    machine.memory[0:0x20] = bytes(0x20)  # NOP, 4 T-states each
    motion = FreeRun(machine, Slices(length), until=0x0010)  # type: ignore[arg-type]
    held = None
    for _ in range(200):
        held = motion.advance()
        if held is not None:
            break
    assert held is not None and held.reason is Reason.ADDRESS
    # Reset takes 3 T-states (see cpu.processor), then 16 NOPs of 4.
    assert (machine.registers.pc, held.t) == (0x10, 3 + 16 * 4)


def test_a_pace_by_a_cycle_type_goes_on_to_it() -> None:
    machine = Machine.from_text(BOARD)
    machine.memory[0:6] = [0x3A, 0x00, 0x00, 0xC3, 0x00, 0x00]  # LDA, JMP: 4 and 3 cycles
    seen = []

    def shown() -> None:
        seen.append(int(machine.trace[-1]["address"]))

    motion = Pace(machine, 60, Cycle.OF, shown)
    for _ in range(4):
        assert motion.advance() is None
    motion.close()
    assert seen == [0, 3, 0, 3]
    assert not list(machine.stops)


def test_a_pace_that_the_board_asks_for_ends_as_it_asks_or_by_a_hold() -> None:
    machine = Machine.from_text(BOARD)
    machine.memory[0:0x20] = bytes(0x20)
    seen: list[int] = []
    motion = FreeRun(
        machine,
        Slices(400),  # type: ignore[arg-type]
        until=0x0004,
        shown=lambda: seen.append(machine.t),
    )
    machine.ask_pace(20)
    assert motion.advance() is None
    assert (seen, motion.wait()) == ([7], 0.05)
    assert motion.state == "pacing 20/s as the firmware asks"
    machine.ask_full_speed()
    held = motion.advance()
    assert held is not None and (held.reason, held.t) == (Reason.ADDRESS, 3 + 4 * 4)
    assert motion.state == "running"
    machine.ask_pace(20)
    motion.hold()
    held = motion.advance()
    assert held is not None and held.reason is Reason.ASKED
    assert machine.pace == 0
