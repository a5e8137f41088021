"""The wait states of a board by address, from the map that its machine works on."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board import Board
from emu85.cpu.layout import IO_BASE
from emu85.errors import UserError
from emu85.timing.delay.costs import Waits
from emu85.wording import counted

_SPACE = 0x10000


class Span(NamedTuple):
    """Wait states, the fewest and the most."""

    least: int
    most: int


class BoardWaits:
    """Wait states of memory and ports.

    Attributes:
        anywhere: of memory at an address that is not known.
        answered: the same where something answers.
        stack: of the stack: where the board wants it, or else of its RAM, or else anywhere.
        any_port: of a port that is not known.
    """

    def __init__(self, board: Board) -> None:
        waits = board.wait_states()
        self._memory: NDArray[np.int64] = waits[:_SPACE]
        self._ports: NDArray[np.int64] = waits[IO_BASE : IO_BASE + 0x100]
        self._regions = board.memory_map()
        stacks = list(board.description.stack) or [
            (region.low, region.high)
            for region in self._regions
            if region.kind == "ram" and region.mirror_of is None
        ]
        answered = [self._memory[r.low : r.high + 1] for r in self._regions if r.kind != "gap"]
        self.anywhere = _span(self._memory)
        self.answered = _span(np.concatenate(answered)) if answered else self.anywhere
        parts = [self._memory[low : high + 1] for low, high in stacks]
        self.stack = _span(np.concatenate(parts)) if parts else self.anywhere
        self.any_port = _span(self._ports)

    def at(self, address: int) -> int:
        """Of a memory cycle."""
        return int(self._memory[address & 0xFFFF])

    def port(self, number: int) -> int:
        """Of an I/O cycle."""
        return int(self._ports[number & 0xFF])

    def first_rom(self) -> int:
        """Where the first ROM begins.

        Raises:
            UserError: there is none.
        """
        for region in self._regions:
            if region.kind == "rom":
                return region.low
        raise UserError("the board has no ROM", expected="--at ADDRESS, where the code stands")

    def of_code(self, start: int, size: int, *, with_stack: bool) -> Waits:
        """Of code that stands at ``start``, and of the stack if that is used.

        Raises:
            UserError: no memory is there, or they are not the same for all of it.
        """
        end = start + max(size, 1)
        memory = [region for region in self._regions if region.kind in ("rom", "ram")]
        if not all(any(r.low <= at <= r.high for r in memory) for at in range(start, end)):
            raise UserError(
                f"no memory is at {start:04X} for {counted(end - start, 'byte')} of code",
                expected="--at an address in ROM or RAM",
            )
        code = _span(self._memory[start:end])
        if code.least != code.most:
            raise UserError(
                f"code at {start:04X} would stand in memory of several wait states, "
                f"{code.least} to {code.most}",
                expected="--at an address that is farther from the border",
            )
        if with_stack and self.stack.least != self.stack.most:
            raise UserError(
                f"the stack has {self.stack.least} to {self.stack.most} wait states by its place",
                expected="'stack:' in the board file, which says where it is",
            )
        return Waits(code.least, self.stack.least)


def _span(waits: NDArray[np.int64]) -> Span:
    return Span(int(waits.min()), int(waits.max()))
