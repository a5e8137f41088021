"""How deep the stacks went, from the write cycles that pushed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.board import Board
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.bus.starts import is_start
from emu85.cpu.layout import INDEX_MASK
from emu85.isa import INSTRUCTIONS, Addr

_ACKNOWLEDGED = 256
"""In place of an opcode: an acknowledge, whose writes are pushes."""


def _pushes(opcode: int) -> bool:
    cycles = INSTRUCTIONS[opcode].cycles
    return any(c.kind is Cycle.MW and c.address is Addr.SP_DOWN for c in cycles)


_PUSHING = np.array([*(_pushes(opcode) for opcode in range(256)), True])


@dataclass(frozen=True, slots=True)
class StackRegion:
    """A stretch of RAM where something was pushed.

    Attributes:
        low, high: the region, both ends included: of the board's ``stack:``, or a RAM.
        deepest, top: lowest and highest address pushed at.
    """

    low: int
    high: int
    deepest: int
    top: int

    @property
    def used(self) -> int:
        """Bytes between the two, both included."""
        return self.top - self.deepest + 1

    @property
    def left(self) -> int:
        """Bytes of the region below the deepest."""
        return self.deepest - self.low


class Depth:
    """Notes where bytes are pushed; fed with all records in order.

    Attributes:
        pushed: bool, 65 536.
    """

    def __init__(self) -> None:
        self.pushed = np.zeros(0x10000, bool)
        self._opcode = 0

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        own = records[records["lines"] & int(Line.HLDA) == 0]
        if not len(own):
            return
        starts = is_start(own)
        begun = np.where(own["type"] == Cycle.OF, own["data"].astype(np.int64), _ACKNOWLEDGED)
        latest = np.maximum.accumulate(np.where(starts, np.arange(len(own)), -1))
        opcodes = np.where(latest >= 0, begun[latest], self._opcode)
        pushes = (own["type"] == Cycle.MW) & _PUSHING[opcodes]
        self.pushed[own["address"][pushes]] = True
        self._opcode = int(opcodes[-1])

    def regions(self, board: Board) -> Sequence[StackRegion]:
        """The regions of a board in which something was pushed, in order of address."""
        found = []
        cells = board.map[: len(self.pushed)] & INDEX_MASK
        pushed = np.isin(cells, cells[self.pushed])  # a mirror is the same byte
        for low, high in _regions(board):
            places = np.flatnonzero(pushed[low : high + 1])
            if len(places):
                ends = low + int(places[0]), low + int(places[-1])
                found.append(StackRegion(low, high, *ends))
        return found


def _regions(board: Board) -> Iterator[tuple[int, int]]:
    if board.description.stack:
        yield from board.description.stack
        return
    for region in board.memory_map():
        if region.kind == "ram":
            yield region.low, region.high
