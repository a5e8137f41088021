"""The core's side of the bargain in plain Python: watch words first, then the rows.

Written from the contract in ``cpu.layout.StopField``; the compiled loop has its
own tests.
"""

from __future__ import annotations

import numpy as np

from emu85.bus.lines import Line
from emu85.cpu.layout import IO_BASE, SPACE, WATCH_SHIFT
from emu85.cpu.layout import StopField as F
from emu85.stops import StopSet
from tests.stops.spec import Bus, cycle_number


class StandIn:
    """Runs cycles past the tables of a stop set; the cycle's number serves as its T-state."""

    def __init__(self, stops: StopSet) -> None:
        self.stops = stops
        self.map = np.zeros(SPACE, dtype=np.int64)
        self.before: Bus | None = None
        self.evaluated = 0

    def run(self, cycles: list[Bus], first_t: int = 0) -> None:
        for number, bus in enumerate(cycles):
            self.one(bus, first_t + number)

    def one(self, bus: Bus, t: int) -> None:
        if self.stops.changed:
            self.stops.apply(self.map)
        before = self.before or bus
        self.before = bus
        kind = cycle_number(bus)
        index = IO_BASE + bus.address % 256 if bus.type in ("IOR", "IOW") else bus.address
        watched = int(self.map[index]) >> (WATCH_SHIFT + kind) & 1
        watched &= int(self.stops.data_watch[bus.data]) >> kind & 1
        looked = bool(watched or bus.lines & Line.FINDING)
        self.evaluated += looked
        table = self.stops.table
        active = [row for row in table if row[F.ACTIVE]]
        for row in active:
            if row[F.LINES_ONLY]:
                met = bus.lines != before.lines and came_true(row, bus, before)
            else:
                met = looked and bus_met(row, bus, kind) and lines_met(row, bus, before)
            if met:
                advance(table, row, t)


def lines_met(row: np.ndarray, bus: Bus, before: Bus) -> bool:
    changed = bus.lines ^ before.lines
    level = bus.lines & int(row[F.LINE_MASK]) == int(row[F.LINE_VALUE])
    return level and changed & int(row[F.EDGE_MASK]) == int(row[F.EDGE_MASK])


def came_true(row: np.ndarray, bus: Bus, before: Bus) -> bool:
    was = before.lines & int(row[F.LINE_MASK]) == int(row[F.LINE_VALUE])
    return not was and lines_met(row, bus, before)


def bus_met(row: np.ndarray, bus: Bus, kind: int) -> bool:
    inside = row[F.LOW] <= bus.address <= row[F.HIGH]
    return bool(
        int(row[F.TYPES]) >> kind & 1
        and inside != bool(row[F.OUTSIDE])
        and bus.address & int(row[F.ADDRESS_MASK]) == int(row[F.ADDRESS_VALUE])
        and bus.data & int(row[F.DATA_MASK]) == int(row[F.DATA_VALUE])
        and row[F.DATA_LOW] <= bus.data <= row[F.DATA_HIGH]
        and (not row[F.FINDING] or bus.lines & Line.FINDING)
    )


def advance(table: np.ndarray, row: np.ndarray, t: int) -> None:
    if row[F.SEEN] < row[F.PASSES]:
        row[F.SEEN] += 1
        return
    row[F.SEEN] = 0
    row[F.ACTIVE] = 0
    following = int(row[F.NEXT])
    if following < 0:
        row[F.HITS] += 1
        row[F.LAST_T] = t
        following = int(row[F.FIRST])
    table[following, F.ACTIVE] = 1
