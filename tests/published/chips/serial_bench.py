"""Boards and firmware for the serial chips.

A crystal of 6.144 MHz gives a CPU clock of 3.072 MHz: a bit at 9600 baud is exactly
320 T-states, a character of ten bits 3200.
"""

from __future__ import annotations

from functools import partial

from emu85.board.serial import Terminal
from tests.published.chips.parallel_bench import Bench

CLOCK = 3_072_000
BIT = CLOCK // 9600

HEAD = """
name: bench
crystal: 6.144 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
"""


class SerialBench(Bench):
    """A board with serial chips; terminals speak at T-states that a test sets."""

    def __init__(self, text: str, names: str) -> None:
        """``names`` is assembly that stands before every firmware."""
        super().__init__(text, head=HEAD)
        self._names = names

    def run(self, *firmware: str, t_states: int = 2_000_000) -> list[int]:
        return super().run(self._names, *firmware, t_states=t_states)

    def terminal(self, name: str) -> Terminal:
        end = self.machine.board.serial_ends[name]
        assert isinstance(end, Terminal)
        return end

    def says(self, name: str, data: bytes, t: int = 5000) -> None:
        """Have a terminal begin to send at a T-state."""
        self.machine.schedule.at(t, partial(self.terminal(name).send, data))

    def breaks(self, name: str, bits: int, t: int = 5000) -> None:
        """Have a terminal send a break of so many bits."""
        self.machine.schedule.at(t, partial(self.terminal(name).send_break, bits))


def line(value: int, bits: int, parity: str) -> list[int]:
    """A character on the wire by EIA-232 practice: start, data lowest first, parity, stop."""
    data = [value >> n & 1 for n in range(bits)]
    extra = {"N": [], "E": [sum(data) % 2], "O": [1 - sum(data) % 2], "M": [1], "S": [0]}
    return [0, *data, *extra[parity], 1]
