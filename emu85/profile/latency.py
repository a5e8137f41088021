"""How long interrupts waited, from the records of a run.

A *request* of RST 6.5, RST 5.5 or INTR begins with the first machine cycle whose record
shows the line high (the line itself rose one machine cycle earlier at most), and is gone
when the line falls; one that stays high through its service asks anew from the first fetch
of that service on.  TRAP and RST 7.5 ask while their latch is set, so a line that just
stays high does not ask again, and what SIM or RESET IN clears was no request.  It is
*served* by the first opcode fetch after the acknowledge, at the restart address or where
the jammed instruction leads.  The *wait* is the T-states from the one to the other, so it
has in it the time for which the input was masked or interrupts were disabled, and the 12
or more of the acknowledge.

A pulse of RST 6.5, RST 5.5 or INTR so short that no record shows it has no wait that could
be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.interrupts import Interrupts
from emu85.bus.lines import NAMES, Line
from emu85.isa import INSTRUCTIONS
from emu85.isa.acknowledge import VECTORS
from emu85.profile.coverage import is_start
from emu85.wording import counted

_INPUTS = (Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.INTR)
_BY_VECTOR = {
    address: next(line for line in _INPUTS if NAMES[line] == name)
    for name, address in VECTORS.items()
}
_LATCHES = {Line.TRAP: Interrupts.TRAP, Line.RST75: Interrupts.I75}
_LEVELS = sum(int(line) for line in _INPUTS if line not in _LATCHES)
_MASKS = {Line.RST75: Interrupts.M75, Line.RST65: Interrupts.M65, Line.RST55: Interrupts.M55}
_EI = next(one.opcode for one in INSTRUCTIONS if one.mnemonic == "EI")


@dataclass
class Latency:
    """One interrupt input.

    Attributes:
        line: its name.
        served: how often it was served.
        worst: longest wait in T-states; None if none could be told.
        worst_t: start T-state of the fetch that ended it.
        disabled: T-states of that wait before the last EI.
        interrupted: address of the instruction before the service.
        first: address of the first instruction of the service.
        pending: T-states for which it was asking when the run ended, unserved; 0 for not.
        masked: whether it is masked then.
    """

    line: str
    served: int = 0
    worst: int | None = None
    worst_t: int = 0
    disabled: int = 0
    interrupted: int = 0
    first: int = 0
    pending: int = 0
    masked: bool = False


class _Input:
    """An input while the records pass."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.is_latched = line in _LATCHES
        self.since: int | None = None
        """When it began to ask; None if it does not."""
        self.row = Latency(NAMES[line])

    def serve(self, since: int, address: int, t: int, enabled: int, before: int) -> None:
        """The fetch at T-state ``t`` serves what asked since ``since``."""
        row = self.row
        row.served += 1
        if self.since is not None and not self.is_latched:
            self.since = t
        if t - since <= (row.worst or 0):
            return
        row.worst, row.worst_t, row.first, row.interrupted = t - since, t, address, before
        row.disabled = max(0, enabled - since)


class Latencies:
    """Measures waits; fed with all records in order."""

    def __init__(self) -> None:
        self._inputs = {line: _Input(line) for line in _INPUTS}
        self._asked = 0
        """``Line`` bits of the inputs that asked in the last record."""
        self._masks = 0
        self._fetched = 0
        """Address of the last opcode fetch."""
        self._enabled = -1
        """Start of the last EI."""
        self._acknowledged: Cycle | None = None
        """How, between an acknowledge and the first fetch after it."""
        self._asking: dict[Line, int] = {}
        """Since when each input asked when one was acknowledged."""

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        if not len(records):
            return
        starts, asking = is_start(records), _asking(records)
        for place, before in self._moments(records, starts, asking):
            record = records[place]
            kind, t = Cycle(int(record["type"])), int(record["t"])
            latched = {n: one.since for n, one in self._inputs.items() if one.is_latched}
            self._see(int(asking[place]), t)
            if kind is Cycle.OF:
                self._fetch(int(record["address"]), int(record["data"]), t, before)
            elif kind in (Cycle.BI, Cycle.INA) and starts[place] and self._acknowledged is None:
                self._acknowledged = kind
                self._note_asking(latched, t)
            elif kind is Cycle.RESET:
                self._reset(t)
        self._masks = int(records["interrupts"][-1])

    def finish(self, t: int) -> None:
        """The run ends at T-state ``t``."""
        for one in self._inputs.values():
            one.row.pending = 0 if one.since is None else t - one.since
            one.row.masked = bool(self._masks & _MASKS.get(one.line, 0))

    def rows(self) -> Sequence[Latency]:
        """The inputs that asked or were served, highest priority first."""
        rows = [one.row for one in self._inputs.values()]
        return [row for row in rows if row.served or row.pending]

    def _moments(
        self, records: NDArray[np.void], starting: NDArray[np.bool_], asking: NDArray[np.int64]
    ) -> Iterator[tuple[int, int]]:
        """Places of records at which something happens, with the last address fetched before."""
        previous = np.concatenate(([self._asked], asking[:-1]))
        is_fetch = records["type"] == Cycle.OF
        is_acknowledge = starting & ~is_fetch
        starts = np.flatnonzero(is_fetch | is_acknowledge)
        after_one = np.concatenate(([self._acknowledged is not None], is_acknowledge[starts][:-1]))
        serves = np.zeros(len(records), bool)
        serves[starts] = is_fetch[starts] & after_one[: len(starts)]
        enables = is_fetch & (records["data"] == _EI)
        fetches = np.flatnonzero(is_fetch)
        for place in np.flatnonzero((asking != previous) | is_acknowledge | serves | enables):
            earlier = int(np.searchsorted(fetches, place)) - 1
            fetched = self._fetched if earlier < 0 else int(records["address"][fetches[earlier]])
            yield int(place), fetched
        self._asked = int(asking[-1])
        if len(fetches):
            self._fetched = int(records["address"][fetches[-1]])

    def _see(self, asking: int, t: int) -> None:
        for line, one in self._inputs.items():
            if not asking & line:
                one.since = None
            elif one.since is None:
                one.since = t

    def _note_asking(self, latched: dict[Line, int | None], t: int) -> None:
        """An acknowledge begins: the latch that it takes is clear in its record already."""
        for line, one in self._inputs.items():
            since = latched[line] if one.is_latched else one.since
            self._asking[line] = t if since is None else since

    def _reset(self, t: int) -> None:
        self._acknowledged = None
        for one in self._inputs.values():
            one.since = None if one.since is None else t

    def _fetch(self, address: int, opcode: int, t: int, before: int) -> None:
        if self._acknowledged is not None:
            line = Line.INTR if self._acknowledged is Cycle.INA else _BY_VECTOR[address]
            self._acknowledged = None
            self._inputs[line].serve(self._asking[line], address, t, self._enabled, before)
        if opcode == _EI:
            self._enabled = t


def _asking(records: NDArray[np.void]) -> NDArray[np.int64]:
    """``Line`` bits of the inputs that ask, a word a record."""
    asking = (records["lines"] & _LEVELS).astype(np.int64)
    for line, latch in _LATCHES.items():
        asking |= np.where(records["interrupts"] & int(latch), int(line), 0)
    return asking


def latency_text(row: Latency) -> str:
    """How an interrupt input was served, in words."""
    served = f"served {counted(row.served, 'time')}" if row.served else "never served"
    parts = [served]
    if row.worst is not None:
        disabled = f", {row.disabled} of them before the last EI" if row.disabled else ""
        parts.append(
            f"longest wait {row.worst} T-states{disabled}, until the fetch at {row.first:04X} "
            f"at T-state {row.worst_t}"
        )
    if row.pending:
        masked = ", masked" if row.masked else ""
        parts.append(f"asking at the end, for {row.pending} T-states{masked}")
    return "; ".join(parts)
