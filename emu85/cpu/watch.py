"""The stops inside the loop: evaluated only in cycles that some stop may look at."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.layout import WATCH_SHIFT
from emu85.cpu.rows import DATA_SHIFT, LINES_SHIFT, NIBBLE, TYPE_SHIFT


@part
def _lines_met(stops: Array, i: int, lines: int, previous: int) -> bool:
    """Whether the line part of step ``i`` holds."""
    if lines & stops[i, c.S_LMASK] != stops[i, c.S_LVALUE]:
        return False
    edges = stops[i, c.S_EDGES]
    return (lines ^ previous) & edges == edges


@part
def _bus_met(stops: Array, i: int, kind: int, address: int, data: int, finding: int) -> bool:
    """Whether the bus part of step ``i`` holds."""
    if (stops[i, c.S_TYPES] >> kind) & 1 == 0:
        return False
    inside = stops[i, c.S_LOW] <= address <= stops[i, c.S_HIGH]
    if inside == (stops[i, c.S_OUTSIDE] != 0):
        return False
    if address & stops[i, c.S_AMASK] != stops[i, c.S_AVALUE]:
        return False
    if data & stops[i, c.S_DMASK] != stops[i, c.S_DVALUE]:
        return False
    if data < stops[i, c.S_DLOW] or data > stops[i, c.S_DHIGH]:
        return False
    return stops[i, c.S_FINDING] == 0 or finding != 0


@part
def _step_met(
    stops: Array,
    i: int,
    kind: int,
    address: int,
    data: int,
    lines: int,
    previous: int,
    bus: int,
    finding: int,
) -> bool:
    """Whether step ``i`` is met by the machine cycle that has just ended."""
    if not _lines_met(stops, i, lines, previous):
        return False
    if stops[i, c.S_LINES_ONLY] == 0:
        return bus != 0 and _bus_met(stops, i, kind, address, data, finding)
    # A level alone counts when it comes true, not for as long as it lasts.
    came_true = previous & stops[i, c.S_LMASK] != stops[i, c.S_LVALUE]
    return came_true or stops[i, c.S_EDGES] != 0


@part
def evaluate(
    stops: Array,
    count: int,
    t: int,
    kind: int,
    address: int,
    data: int,
    lines: int,
    previous: int,
    bus: int,
    finding: int,
) -> int:
    """Try every step that is being looked for; 1 if a stop has hit that is not quiet."""
    hit = 0
    activated = 0
    for i in range(count):
        if stops[i, c.S_ACTIVE] != 1:
            continue
        if not _step_met(stops, i, kind, address, data, lines, previous, bus, finding):
            continue
        if stops[i, c.S_SEEN] < stops[i, c.S_PASSES]:
            stops[i, c.S_SEEN] += 1
            continue
        stops[i, c.S_SEEN] = 0
        following = stops[i, c.S_NEXT]
        if following < 0:
            following = stops[i, c.S_FIRST]
            stops[i, c.S_HITS] += 1
            stops[i, c.S_LAST_T] = t
            if stops[i, c.S_QUIET] == 0:
                hit = 1
        # The step that comes next is looked for from the next cycle on.
        stops[i, c.S_ACTIVE] = 0
        stops[following, c.S_ACTIVE] = c.JUST_ACTIVATED
        activated = 1
    if activated:
        for i in range(count):
            if stops[i, c.S_ACTIVE] == c.JUST_ACTIVATED:
                stops[i, c.S_ACTIVE] = 1
    return hit


@part
def stopped(
    stops: Array,
    s: Array,
    data_watch: Array,
    slow: int,
    record: int,
    previous: int,
    t: int,
) -> bool:
    """Whether a stop hits in the cycle of ``record``; looks closer only where one may."""
    kind = (record >> TYPE_SHIFT) & NIBBLE
    data = (record >> DATA_SHIFT) & 0xFF
    lines = (record >> LINES_SHIFT) & c.LEVELS
    finding = (record >> LINES_SHIFT) & c.FINDING
    bus = (slow >> (WATCH_SHIFT + kind)) & (data_watch[data] >> kind) & 1 | finding
    if bus == 0 and (s[c.LINE_STOPS] == 0 or lines == previous):
        return False
    address = record & 0xFFFF
    return evaluate(stops, s[c.STOPS], t, kind, address, data, lines, previous, bus, finding) != 0
