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

TRAP may be acknowledged right after another acknowledge, before anything of that service
has been fetched.  Then the first of the two is served by the fetch that a return from
TRAP's service leads to, at its address, and TRAP's service is part of its wait.

A pulse of RST 6.5, RST 5.5 or INTR so short that no record shows it has no wait that could
be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.interrupts import MASKS, Interrupts
from emu85.bus.lines import NAMES, Line
from emu85.bus.starts import is_start
from emu85.isa import INSTRUCTIONS
from emu85.isa.acknowledge import VECTORS
from emu85.profile.counting.ways import WAYS, Way
from emu85.wording import counted

_INPUTS = (Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.INTR)
_BY_VECTOR = {
    address: next(line for line in _INPUTS if NAMES[line] == name)
    for name, address in VECTORS.items()
}
_LATCHES = {Line.TRAP: Interrupts.TRAP, Line.RST75: Interrupts.I75}
_LEVELS = sum(int(line) for line in _INPUTS if line not in _LATCHES)
_EI = next(one.opcode for one in INSTRUCTIONS if one.mnemonic == "EI")
_RESTARTS = {one.opcode for one in INSTRUCTIONS if one.mnemonic == "RST"}
_TO_ADDRESS = {one.opcode for one in INSTRUCTIONS if one.mnemonic in ("CALL", "JMP")}
_GOES_BACK = (WAYS == Way.RETURN) | (WAYS == Way.TO_HL)
"""By opcode: whether it may lead to where an interrupt has broken in."""


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
        lost: requests of RST 6.5, RST 5.5 and INTR that fell again unserved and not masked.
        longest_lost: T-states for which the longest of them asked.
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
    lost: int = 0
    longest_lost: int = 0


class _Input:
    """An input while the records pass."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.is_latched = line in _LATCHES
        self.since: int | None = None
        """When it began to ask; None if it does not."""
        self.is_anew = False
        """Whether it has been served since its line rose."""
        self.row = Latency(NAMES[line])

    def see(self, is_asking: bool, is_lost: bool, t: int) -> None:
        """It asks, or not, in a cycle that began at ``t``; ``is_lost`` if it then is lost."""
        if is_asking and self.since is None:
            self.since, self.is_anew = t, False
        elif not is_asking:
            if self.since is not None and is_lost and not self.is_anew:
                self.row.lost += 1
                self.row.longest_lost = max(self.row.longest_lost, t - self.since)
            self.since = None

    def serve(self, acknowledged: _Acknowledge, address: int, t: int) -> None:
        """The fetch at T-state ``t`` serves what was acknowledged."""
        row, since = self.row, acknowledged.asking[self.line]
        row.served += 1
        if self.since is not None and not self.is_latched:
            self.since, self.is_anew = t, True
        if t - since <= (row.worst or 0):
            return
        row.worst, row.worst_t, row.first = t - since, t, address
        row.interrupted = acknowledged.before
        row.disabled = max(0, acknowledged.enabled - since)


@dataclass(frozen=True, slots=True)
class _Acknowledge:
    """An acknowledge of whose service nothing has been fetched yet.

    Attributes:
        kind: BI or INA, its first machine cycle.
        asking: since when each input asked; since the acknowledge, if it was never seen to.
        enabled: start of the last EI, -1 for none.
        before: address of the instruction before it.
        likely: the input, as far as it can be told now.
        jammed: the bytes of its INTA cycles.
    """

    kind: Cycle
    asking: Mapping[Line, int]
    enabled: int
    before: int
    likely: Line | None
    jammed: list[int]

    def line(self, address: int) -> Line:
        """The input, if the service begins at an address."""
        return Line.INTR if self.kind is Cycle.INA else _BY_VECTOR[address]

    def may_lead_to(self, address: int) -> bool:
        """Whether its service may begin at an address."""
        if self.kind is Cycle.BI:
            return address in _BY_VECTOR
        opcode, *operand = self.jammed
        if opcode in _RESTARTS:
            return address == opcode & 0x38
        return opcode in _TO_ADDRESS and address == int.from_bytes(operand, "little")


class _Fetched(NamedTuple):
    """An opcode fetch."""

    address: int
    opcode: int


class Latencies:
    """Measures waits; fed with all records in order."""

    def __init__(self) -> None:
        self._inputs = {line: _Input(line) for line in _INPUTS}
        self._asked = 0
        """``Line`` bits of the inputs that asked in the last record."""
        self._masks = 0
        self._fetched = _Fetched(0, 0)
        """The last one."""
        self._enabled = -1
        """Start of the last EI."""
        self._acknowledged: _Acknowledge | None = None
        """Between an acknowledge and the first fetch after it."""
        self._overtaken: list[_Acknowledge] = []
        """Those after which TRAP was acknowledged at once, the newest last."""

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        if not len(records):
            return
        starts, asking = is_start(records), _asking(records)
        for place, before in self._moments(records, starts, asking):
            record = records[place]
            kind, t = Cycle(int(record["type"])), int(record["t"])
            latched = {n: one.since for n, one in self._inputs.items() if one.is_latched}
            begins = kind in (Cycle.BI, Cycle.INA) and bool(starts[place])
            masks = int(record["interrupts"])
            likely = self._asking_first(kind, masks, int(asking[place])) if begins else None
            self._see(int(asking[place]), masks, likely, t)
            if kind is Cycle.OF:
                self._fetch(_fetched(record), t, before)
            elif begins:
                data = int(record["data"])
                self._acknowledge(kind, data, latched, t, before, likely)
            elif kind is Cycle.RESET:
                self._reset(t)
        self._masks = int(records["interrupts"][-1])

    def finish(self, t: int) -> None:
        """The run ends at T-state ``t``."""
        for one in self._inputs.values():
            one.row.pending = 0 if one.since is None else t - one.since
            one.row.masked = bool(self._masks & MASKS.get(one.line, 0))

    def rows(self) -> Sequence[Latency]:
        """The inputs that asked or were served, highest priority first."""
        rows = [one.row for one in self._inputs.values()]
        return [row for row in rows if row.served or row.pending or row.lost]

    def _moments(
        self, records: NDArray[np.void], starting: NDArray[np.bool_], asking: NDArray[np.int64]
    ) -> Iterator[tuple[int, _Fetched]]:
        """Places of records at which something happens, with the last fetch before."""
        previous = np.concatenate(([self._asked], asking[:-1]))
        is_fetch = records["type"] == Cycle.OF
        is_acknowledge = starting & ~is_fetch
        starts = np.flatnonzero(is_fetch | is_acknowledge)
        after_one = np.concatenate(([self._acknowledged is not None], is_acknowledge[starts][:-1]))
        after_one = after_one[: len(starts)]
        serves = np.zeros(len(records), bool)
        serves[starts] = is_fetch[starts] & after_one
        enables = is_fetch & (records["data"] == _EI)
        fetches = np.flatnonzero(is_fetch)
        if self._overtaken or np.any(is_acknowledge[starts] & after_one):
            opcodes = np.concatenate(([self._fetched.opcode], records["data"][fetches]))
            serves[fetches] |= _GOES_BACK[opcodes[:-1]]
        for place in np.flatnonzero((asking != previous) | is_acknowledge | serves | enables):
            earlier = int(np.searchsorted(fetches, place)) - 1
            yield int(place), self._fetched if earlier < 0 else _fetched(records[fetches[earlier]])
        self._asked = int(asking[-1])
        if len(fetches):
            self._fetched = _fetched(records[fetches[-1]])

    def _see(self, asking: int, interrupts: int, likely: Line | None, t: int) -> None:
        """Input by input; the one that is being acknowledged is not lost if it falls."""
        if likely is None and self._acknowledged is not None:
            likely = self._acknowledged.likely
        for line, one in self._inputs.items():
            is_lost = line is not likely and not interrupts & MASKS.get(line, 0)
            one.see(bool(asking & line), is_lost and not one.is_latched, t)

    def _asking_first(self, kind: Cycle, interrupts: int, asking: int) -> Line | None:
        """The input that an acknowledge is for: the first of those that ask and may.

        Args:
            asking: those that ask in its first cycle; others may have fallen with it.
        """
        if kind is Cycle.INA:
            return Line.INTR
        may = (line for line in _INPUTS[:-1] if not interrupts & MASKS.get(line, 0))
        asked = (line for line in may if asking & line or self._inputs[line].since is not None)
        return next(asked, None)

    def _acknowledge(
        self,
        kind: Cycle,
        data: int,
        latched: Mapping[Line, int | None],
        t: int,
        before: _Fetched,
        likely: Line | None,
    ) -> None:
        """A cycle of an acknowledge; the latch that it takes is clear in its record already."""
        earlier = self._acknowledged
        if kind is Cycle.INA and earlier is not None:
            earlier.jammed.append(data)
            return
        if earlier is not None:
            self._overtaken.append(earlier)
        asking = {}
        for line, one in self._inputs.items():
            since = latched[line] if one.is_latched else one.since
            asking[line] = t if since is None else since
        self._acknowledged = _Acknowledge(
            kind, asking, self._enabled, before.address, likely, [data]
        )

    def _reset(self, t: int) -> None:
        self._acknowledged = None
        self._overtaken.clear()
        for one in self._inputs.values():
            one.since = None if one.since is None else t

    def _fetch(self, fetched: _Fetched, t: int, before: _Fetched) -> None:
        address, served = fetched.address, self._acknowledged
        self._acknowledged = None
        if served is None and self._overtaken and _GOES_BACK[before.opcode]:
            served = self._gone_back_to(address)
        if served is not None:
            self._inputs[served.line(address)].serve(served, address, t)
        if fetched.opcode == _EI:
            self._enabled = t

    def _gone_back_to(self, address: int) -> _Acknowledge | None:
        """What was overtaken and is served now; those after it never will be."""
        for place in range(len(self._overtaken) - 1, -1, -1):
            if self._overtaken[place].may_lead_to(address):
                found = self._overtaken[place]
                del self._overtaken[place:]
                return found
        return None


def _fetched(record: np.void) -> _Fetched:
    return _Fetched(int(record["address"]), int(record["data"]))


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
    if row.lost:
        parts.append(
            f"{counted(row.lost, 'request')} fell again unserved, the longest after "
            f"{row.longest_lost} T-states"
        )
    if row.pending:
        masked = ", masked" if row.masked else ""
        parts.append(f"asking at the end, for {row.pending} T-states{masked}")
    return "; ".join(parts)
