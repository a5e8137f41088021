"""What has been executed, read and written, counted from the records of the trace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.cpu.compiler import compiled
from emu85.profile.counting import layout as c
from emu85.profile.counting.ways import LENGTHS

_SPACE = 0x10000
_PORTS = 0x100


class Execution:
    """Counts over batches of records; cycles of another bus master are left out.

    Attributes:
        fetches: int64, 65 536; opcode fetches at each address.
        opcodes: int16, 65 536; the opcode fetched there last, -1 for none.
        t_states: int64, 65 536; T-states from each opcode fetch there to the next start
            of an instruction or of an acknowledge, wait states, holds and halts included.
        reads, writes: int64, 65 536; memory read and write cycles at each address.
        port_reads, port_writes: int64, 256; I/O cycles at each port.
        records: how many were counted.
    """

    def __init__(self) -> None:
        self.fetches = np.zeros(_SPACE, np.int64)
        self.opcodes = np.full(_SPACE, -1, np.int16)
        self.t_states = np.zeros(_SPACE, np.int64)
        self.reads = np.zeros(_SPACE, np.int64)
        self.writes = np.zeros(_SPACE, np.int64)
        self.port_reads = np.zeros(_PORTS, np.int64)
        self.port_writes = np.zeros(_PORTS, np.int64)
        self.records = 0
        self._state = np.array([0, c.NOT_OPEN, 0], np.int64)
        self._tally = compiled("emu85.profile.counting.tally", "tally")

    def feed(self, records: NDArray[np.void]) -> None:
        """Count a batch: dtype ``bus.trace.RECORD``, in order, right after the last batch."""
        self.records += len(records)
        self._tally(
            np.ascontiguousarray(records).view(np.int64),
            self._state,
            self.fetches,
            self.opcodes,
            self.t_states,
            self.reads,
            self.writes,
            self.port_reads,
            self.port_writes,
        )

    def finish(self, t: int) -> None:
        """Give what had not ended the time up to T-state ``t``, the end of the last cycle."""
        spent, at = t - int(self._state[c.OPEN_T]), int(self._state[c.OPEN_AT])
        if at >= 0:
            self.t_states[at] += spent
        elif at == c.AN_ACKNOWLEDGE:
            self._state[c.ACKNOWLEDGE_T] += spent
        self._state[c.OPEN_AT] = c.NOT_OPEN

    def cut(self) -> None:
        """Records are missing before the next: what has not ended gets no time."""
        self._state[c.OPEN_AT] = c.NOT_OPEN

    @property
    def acknowledge_t(self) -> int:
        """T-states spent in acknowledging interrupts."""
        return int(self._state[c.ACKNOWLEDGE_T])

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Every byte of an executed instruction: bool, 65 536."""
        covered = np.zeros(_SPACE, bool)
        starts = np.flatnonzero(self.fetches)
        lengths = LENGTHS[self.opcodes[starts]]
        for offset in range(3):
            covered[(starts[lengths > offset] + offset) % _SPACE] = True
        return covered
