"""What has been executed, read and written, counted from the records of the trace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.isa import INSTRUCTIONS

_SPACE = 0x10000
_PORTS = 0x100
LENGTHS = np.array([one.length for one in INSTRUCTIONS], np.int64)
"""Bytes of the instruction, by opcode."""
_ACKNOWLEDGE = int(Line.IO_M | Line.S1 | Line.S0)
"""Status lines that a bus idle cycle shows only when it acknowledges TRAP or RST x.5."""


class Execution:
    """Counts over batches of records; cycles of another bus master are left out.

    Attributes:
        fetches: int64, 65 536; opcode fetches at each address.
        opcodes: int16, 65 536; the opcode fetched there last, -1 for none.
        t_states: int64, 65 536; T-states from each opcode fetch there to the next start
            of an instruction or of an acknowledge, wait states, holds and halts included.
        reads, writes: int64, 65 536; memory read and write cycles at each address.
        port_reads, port_writes: int64, 256; I/O cycles at each port.
        acknowledge_t: T-states spent in acknowledging interrupts.
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
        self.acknowledge_t = 0
        self.records = 0
        self._open: tuple[int, int] | None = None
        """Start T-state and address (-1: an acknowledge) of what had not ended."""

    def feed(self, records: NDArray[np.void]) -> None:
        """Count a batch: dtype ``bus.trace.RECORD``, in order, right after the last batch."""
        self.records += len(records)
        own = records[records["lines"] & int(Line.HLDA) == 0]
        kinds = own["type"]
        fetched = own[kinds == Cycle.OF]
        self.fetches += _counts(fetched["address"], _SPACE)
        self.opcodes[fetched["address"]] = fetched["data"]
        self.reads += _counts(own["address"][kinds == Cycle.MR], _SPACE)
        self.writes += _counts(own["address"][kinds == Cycle.MW], _SPACE)
        self.port_reads += _counts(own["address"][kinds == Cycle.IOR] & 0xFF, _PORTS)
        self.port_writes += _counts(own["address"][kinds == Cycle.IOW] & 0xFF, _PORTS)
        self._time(own[is_start(own)])

    def finish(self, t: int) -> None:
        """Give what had not ended the time up to T-state ``t``, the end of the last cycle."""
        if self._open is not None:
            began, address = self._open
            self._charge(np.array([address]), np.array([t - began]))
        self._open = None

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Every byte of an executed instruction: bool, 65 536."""
        covered = np.zeros(_SPACE, bool)
        starts = np.flatnonzero(self.fetches)
        lengths = LENGTHS[self.opcodes[starts]]
        for offset in range(3):
            covered[(starts[lengths > offset] + offset) % _SPACE] = True
        return covered

    def _time(self, starts: NDArray[np.void]) -> None:
        """Charge each start with the T-states to the next."""
        if not len(starts):
            return
        t = starts["t"].astype(np.int64)
        is_fetch = starts["type"] == Cycle.OF
        places = np.where(is_fetch, starts["address"].astype(np.int64), -1)
        if self._open is not None:
            t = np.concatenate(([self._open[0]], t))
            places = np.concatenate(([self._open[1]], places))
        self._charge(places[:-1], np.diff(t))
        self._open = int(t[-1]), int(places[-1])

    def _charge(self, places: NDArray[np.int64], spent: NDArray[np.int64]) -> None:
        fetched = places >= 0
        weights = spent[fetched].astype(np.float64)  # exact up to 2**53
        self.t_states += np.bincount(places[fetched], weights, _SPACE).astype(np.int64)
        self.acknowledge_t += int(spent[~fetched].sum())


def is_start(records: NDArray[np.void]) -> NDArray[np.bool_]:
    """Whether each record starts something: an opcode fetch or an acknowledge.

    Of the INTA cycles of one acknowledge each counts.  A reset ends what it breaks into
    and is charged like an acknowledge.
    """
    kinds = records["type"]
    restarts = (kinds == Cycle.BI) & (records["lines"] & _ACKNOWLEDGE == _ACKNOWLEDGE)
    found: NDArray[np.bool_] = (
        (kinds == Cycle.OF) | (kinds == Cycle.INA) | (kinds == Cycle.RESET) | restarts
    )
    return found


def _counts(places: NDArray[np.uint16], space: int) -> NDArray[np.int64]:
    return np.bincount(places, minlength=space)
