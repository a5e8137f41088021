"""A run to an address, cut into slices by the throttle."""

from __future__ import annotations

import pytest

from emu85.console.motion import FreeRun
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
