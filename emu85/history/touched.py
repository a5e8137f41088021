"""What was touched on the bus in a stretch of the past, so that others need no search.

For each memory address and port, and each of OF, MR, MW, IOR and IOW: whether there was
such a cycle, and whether a write left another byte.  The loop tells it by bits of the map
(``cpu.layout.UNTOUCHED_SHIFT``).  And which data bytes were written or moved
(``cpu.layout.DATA_NOTED``), which lines have changed, which other types of cycles there
were, and whether there was a finding (``cpu.layout.State.MOVED``).  In doubt more is taken
for touched than was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from emu85.cpu.layout import (
    DATA_NOTED,
    MOVED_DATA,
    MOVED_TOLD,
    SPACE,
    UNTOUCHED_BITS,
    UNTOUCHED_SHIFT,
    UNTOUCHED_TYPES,
    State,
)

if TYPE_CHECKING:
    from emu85.machine import Machine

ALTERED = 1 << UNTOUCHED_TYPES
"""The bit of another byte; that of a cycle type is ``1 << type``."""
_KNOWN = (1 << UNTOUCHED_TYPES) - 1 | ALTERED


@dataclass(frozen=True, slots=True, eq=False)
class Touched:
    """What was touched.

    Attributes:
        cycles: uint8, for each map index a bit for each cycle type and one for another
            byte, ``SPACE`` of them.
        lines: bits of a lines word, those of ``MOVED_TOLD``, and of cycle types above.
        data: bool, ``DATA_NOTED`` cells.
    """

    cycles: NDArray[np.uint8]
    lines: int
    data: NDArray[np.bool_]

    def __or__(self, other: Touched) -> Touched:
        return Touched(self.cycles | other.cycles, self.lines | other.lines, self.data | other.data)

    @property
    def written(self) -> NDArray[np.bool_]:
        """For each byte whether it was written to memory."""
        return self.data[:MOVED_DATA]

    @property
    def moved(self) -> NDArray[np.bool_]:
        """For each byte whether it went to or from a port, or came from a device."""
        return self.data[MOVED_DATA:]


def nothing_touched() -> Touched:
    """As long as nothing has been done."""
    return Touched(np.zeros(SPACE, np.uint8), 0, np.zeros(DATA_NOTED, bool))


def begin(machine: Machine) -> None:
    """From now on nothing has been touched.

    A line that has changed since the last machine cycle is seen to change in the next.
    """
    state = machine.registers.state
    machine.board.map |= np.int64(UNTOUCHED_BITS)
    machine.noted[:] = 0
    state[State.MOVED] = (state[State.LINES] ^ state[State.PREVIOUS]) & MOVED_TOLD


def touched(machine: Machine) -> Touched:
    """What has been touched since :func:`begin`."""
    cycles = (machine.board.map >> UNTOUCHED_SHIFT & _KNOWN ^ _KNOWN).astype(np.uint8)
    moved = int(machine.registers.state[State.MOVED])
    return Touched(cycles, moved, machine.noted.astype(bool))
