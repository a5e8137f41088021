"""The figures of a watch in the user's words: names, devices, shares."""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board import Board
from emu85.bus.lines import NAMES, Line
from emu85.console.views.places import Places
from emu85.machine import Machine
from emu85.profile.counting.layout import SPACE
from emu85.profile.latency import Latency
from emu85.profile.routines import Spent
from emu85.profile.watch import Figures
from emu85.stretches import of_addresses


class RoutineRow(NamedTuple):
    """``name`` is the address with its label, and how it was begun if not by a call."""

    name: str
    spent: Spent


class LabelRow(NamedTuple):
    """Code from a label up to the next; ``times`` is how often its first byte was fetched.

    A stretch of executed bytes where the firmware has none is a row of its own: ``last``
    is the address of its last byte, and ``name`` the label that stands right there, or
    the chip.
    """

    address: int
    name: str
    times: int
    t_states: int
    last: int | None = None

    @property
    def text(self) -> str:
        """Address or addresses, and name."""
        to = "" if self.last is None else f"-{self.last:04X}"
        return f"{self.address:04X}{to} {self.name}".rstrip()


class InterruptRow(NamedTuple):
    """The services of one input, T-states with callees and without other interrupts.

    A service that the same input breaks into is without the inner one, which is counted
    as a service too.

    ``latency`` is how long it waited, None if that could not be told.
    """

    line: str
    services: int
    t_states: int
    least: int
    mean: float
    most: int
    latency: Latency | None


class PortRow(NamedTuple):
    """I/O cycles of the CPU at one port."""

    port: int
    device: str
    reads: int
    writes: int
    t_states: int


class WaitRow(NamedTuple):
    """Wait states in cycles that one chip or device answered."""

    name: str
    t_states: int


@dataclass(frozen=True, slots=True)
class Report:
    """Where the time went; T-states unless said otherwise.

    Attributes:
        board, firmware, about: what ran, and what moved it.
        failures: what a rehearsal did not find as expected.
        clock_hz: T-states a second.
        figures: as they were counted.
        t_states: all of the time.
        service: in interrupts, their callees included.
        executed, code: bytes of instructions executed, and in the listing.
    """

    board: str
    firmware: str
    about: str
    failures: Sequence[str]
    clock_hz: float
    figures: Figures
    t_states: int
    routines: Sequence[RoutineRow]
    labels: Sequence[LabelRow]
    interrupts: Sequence[InterruptRow]
    ports: Sequence[PortRow]
    waits: Sequence[WaitRow]
    executed: int
    code: int

    @property
    def service(self) -> int:
        """T-states in the service of interrupts, callees included."""
        return sum(row.t_states for row in self.interrupts)

    def share(self, t_states: int) -> float:
        """Percent of all the time."""
        return 100 * t_states / self.t_states if self.t_states else 0.0


def report(
    machine: Machine,
    figures: Figures,
    *,
    firmware: str = "",
    about: str = "",
    failures: Sequence[str] = (),
    covered: tuple[int, int] = (0, 0),
) -> Report:
    """What was counted on a machine.

    Args:
        firmware, about: for the head.
        covered: from :func:`emu85.profile.lines.coverage`.
    """
    places = Places.of(machine)
    spent = figures.routines.rows()
    return Report(
        board=machine.board.name,
        firmware=firmware,
        about=about,
        failures=failures,
        clock_hz=machine.clock_hz,
        figures=figures,
        t_states=figures.t_states,
        routines=[RoutineRow(_name(row, places), row) for row in spent],
        labels=sorted(_labels(machine, figures), key=lambda row: (-row.t_states, row.address)),
        interrupts=list(_interrupts(spent, figures.latencies)),
        ports=list(_ports(machine.board, figures)),
        waits=sorted(_waits(machine.board, figures), key=lambda row: (-row.t_states, row.name)),
        executed=covered[0],
        code=covered[1],
    )


def _name(row: Spent, places: Places) -> str:
    how = row.begun.text
    if how == "under way":
        return how
    name = places.text(row.address)
    return f"{name}, {how}" if how else name


def _labels(machine: Machine, figures: Figures) -> Iterator[LabelRow]:
    """The time of each stretch of code; of what stands before any label as well.

    A label reaches to the end of its run of bytes: what is executed outside all runs, code
    that was built in RAM or a jump into nowhere, is no label's.
    """
    names: dict[int, str] = {}
    for name, at in machine.symbols.items():
        if name not in machine.equated:
            names.setdefault(at, name)
    inside = np.zeros(SPACE, bool)
    for low, end in machine.runs:
        inside[low:end] = True
    execution = figures.execution
    outside = dict(_outside(machine.board, names, execution.covered & ~inside))
    starts = sorted({*names, *(start for start, _ in machine.runs), *outside})
    spent: dict[int, int] = {}
    for address in np.flatnonzero(execution.fetches).tolist():
        start = starts[bisect.bisect_right(starts, address) - 1]
        spent[start] = spent.get(start, 0) + int(execution.t_states[address])
    chips = _chips(machine.board, ports=False)
    for start, t_states in spent.items():
        last = outside.get(start)
        name = names.get(start, "" if last is None else chips.get(start, "no chip"))
        yield LabelRow(start, name, int(execution.fetches[start]), t_states, last)


def _outside(
    board: Board, names: Mapping[int, str], executed: NDArray[np.bool_]
) -> Iterator[tuple[int, int]]:
    """First and last address of each stretch of bytes, cut at labels and ends of chips."""
    cuts = {*names, *(region.low for region in board.memory_map())}
    yield from of_addresses(np.flatnonzero(executed).tolist(), cuts)


def _interrupts(spent: Sequence[Spent], latencies: Sequence[Latency]) -> Iterator[InterruptRow]:
    waited = {one.line: one for one in latencies}
    for line in (Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.INTR):
        rows = [row for row in spent if row.begun.is_interrupt and row.begun.text == NAMES[line]]
        over = [row for row in rows if row.over]
        latency = waited.get(NAMES[line])
        if not rows and latency is None:
            continue
        count = sum(row.over for row in over)
        yield InterruptRow(
            NAMES[line],
            sum(row.calls for row in rows),
            sum(row.whole for row in rows),
            min((row.least for row in over), default=0),
            sum(row.total for row in over) / count if count else 0.0,
            max((row.most for row in over), default=0),
            latency,
        )


def _ports(board: Board, figures: Figures) -> Iterator[PortRow]:
    names = _chips(board, ports=True)
    execution, spent = figures.execution, figures.routines.port_t
    reads, writes = execution.port_reads, execution.port_writes
    for port in np.flatnonzero(reads + writes).tolist():
        yield PortRow(
            port, names.get(port, ""), int(reads[port]), int(writes[port]), int(spent[port])
        )


def _waits(board: Board, figures: Figures) -> Iterator[WaitRow]:
    waits = figures.routines.waits_at
    memory, ports = _chips(board, ports=False), _chips(board, ports=True)
    total: dict[str, int] = {}
    for index in np.flatnonzero(waits).tolist():
        name = memory.get(index, "") if index < SPACE else ports.get(index - SPACE, "")
        total[name] = total.get(name, 0) + int(waits[index])
    for name, t_states in total.items():
        yield WaitRow(name or "nothing answers", t_states)


def _chips(board: Board, *, ports: bool) -> dict[int, str]:
    """The chip or device at each address or port."""
    found: dict[int, str] = {}
    for region in board.port_map() if ports else board.memory_map():
        if region.kind != "gap":
            found.update(dict.fromkeys(range(region.low, region.high + 1), region.chip))
    return found
