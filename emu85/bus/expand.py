"""Machine cycles expanded to what stands on each pin in each T-state.

A T-state begins at CLK's fall, as in the data sheet's figures: CLK is low in its first
half and high in its second.  The levels in each half are those of the figures "read
operation", "write operation", "hold" and "interrupt and hold timing" of the 8085AH data
sheet and of the machine state chart of the MCS-80/85 Family User's Manual (October 1979);
values from memory.  Where exactly an edge lies is the business of
:mod:`emu85.timing.edges`.

What the trace does not have:

* The inputs, and SOD, are known once a machine cycle, and may have changed anywhere within
  the one before.  Those that ask for an interrupt are sampled when CLK falls for the last
  T-state of that one, and drawn to change half a T-state before; SID and SOD are drawn
  to change where the machine cycle begins that has them so.
* A byte that memory or a port gives is drawn from the start of T3, when the data sheet
  wants it at the latest; a real chip comes sooner.
* While a bus master has the bus the CPU's own pins float; drawn is what the master puts on
  the board's bus (address, data and strobes), in the CPU's timing (choice).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import (
    BI_ACKNOWLEDGE,
    LEVELS,
    READS,
    SHORTEST,
    STATES,
    WRITES,
    Cycle,
    Levels,
)
from emu85.bus.lines import Line
from emu85.bus.pins import (
    ADDRESS_DATA,
    ALE,
    CLK,
    HIGH_ADDRESS,
    HLDA,
    HOLD,
    INTA,
    IO_M,
    RD,
    READY,
    REQUESTS,
    S0,
    S1,
    SAMPLED,
    UNDEFINED,
    WR,
    Level,
)

STATE_NAMES: dict[Cycle, str] = {
    Cycle.HALT: "THALT",
    Cycle.HOLD: "THOLD",
    Cycle.RESET: "TRESET",
}
"""T-states that belong to no machine cycle, named as in the manual's state chart."""

WAIT = "TW"

ACKNOWLEDGES = int(Line.IO_M)
"""High in a bus idle cycle only when it acknowledges TRAP or RST x.5."""

_FAR = 2
"""T-states before a turn of the bus at which nothing shows it yet, in a halt or hold."""

# Plain numbers: an enumeration's own operators cost more than all the rest of a cycle.
_HLDA = int(Line.HLDA)
_HOLD_TYPE, _IDLE_TYPE = int(Cycle.HOLD), int(Cycle.BI)


class State(NamedTuple):
    """One T-state.

    Attributes:
        t: T-states since power-on before it.
        name: T1 to T6, TW, THALT, THOLD or TRESET.
        record: place of its machine cycle among the records.
        first, second: levels by pin in its halves, CLK low and CLK high.
    """

    t: int
    name: str
    record: int
    first: Mapping[str, Level]
    second: Mapping[str, Level]


class Kind(NamedTuple):
    """What decides the shape of a machine cycle on the pins; equal ones look alike.

    Attributes:
        cycle: its type.
        t_states: without wait states.
        waits: wait states.
        acknowledges: a bus idle cycle that acknowledges TRAP or RST x.5.
        is_given: a bus master's, while the CPU is on hold.
        turns: HLDA changes in its last half T-state: the bus is given away or comes back.
    """

    cycle: Cycle
    t_states: int
    waits: int = 0
    acknowledges: bool = False
    is_given: bool = False
    turns: bool = False


class Bus(NamedTuple):
    """Stands in a shape for a byte that each record has for itself.

    Attributes:
        shift: of the record's address, 8 or 0; -1 for its data byte.
    """

    shift: int


HIGH_BYTE, LOW_BYTE, DATA = Bus(8), Bus(0), Bus(-1)

Shaped = Level | Bus


class Shape(NamedTuple):
    """Names of the T-states of a kind, and the levels in their halves (two for each)."""

    names: tuple[str, ...]
    halves: tuple[Mapping[str, Shaped], ...]


def expand(
    records: NDArray[np.void], end_t: int, *, after: Any = None, ends: int | None = None
) -> Iterator[State]:
    """Every T-state of a stretch of the trace, in order.

    Args:
        records: ``bus.trace.RECORD``, oldest first, none left out.
        end_t: T-state at which the last of them ends.
        after: the record that follows, if there is one.
        ends: how many T-states to give at each end of a long halt, hold or reset; all of
            them if None.
    """
    end_ts = [*(int(t) for t in records["t"][1:]), end_t]
    followers = [*records[1:], after]
    for place, (record, end, follower) in enumerate(zip(records, end_ts, followers, strict=True)):
        turns = turns_after(record, follower)
        if int(record["type"]) in STATES:
            ts = rest_ts(int(record["t"]), end, ends)
            states = _resting(record, place, ts, turns)
        else:
            kind = kind_of(record, end - int(record["t"]), turns)
            states = _cycle(record, place, kind, end)
        yield from states if follower is None else _asked(states, end, _levels(follower, REQUESTS))


def _asked(states: Iterator[State], end: int, requests: Mapping[str, int]) -> Iterator[State]:
    """T-states of a record with the requests for an interrupt sampled before its end."""
    for state in states:
        left = end - state.t
        first = state.first if left > 1 else {**state.first, **requests}
        second = state.second if left > 2 else {**state.second, **requests}
        yield state._replace(first=first, second=second)


def rest_ts(begin: int, end: int, ends: int | None) -> Sequence[int]:
    """The T-states to be given of a halt, hold or reset; ``ends`` as in :func:`expand`."""
    if ends is None or end - begin <= 2 * ends + 1:
        return range(begin, end)
    return (*range(begin, begin + ends), *range(end - ends, end))


@overload
def given(kinds: int, lines: int) -> bool: ...
@overload
def given(kinds: NDArray[np.int64], lines: NDArray[np.int64]) -> NDArray[np.bool_]: ...
def given(kinds: Any, lines: Any) -> Any:
    """Whether the CPU has no part in a record: hold, or a bus master's cycle.

    Args:
        kinds, lines: its type and its lines, or arrays of them.
    """
    return (kinds == _HOLD_TYPE) | (lines & _HLDA != 0)


@overload
def acknowledging(kinds: int, lines: int) -> bool: ...
@overload
def acknowledging(kinds: NDArray[np.int64], lines: NDArray[np.int64]) -> NDArray[np.bool_]: ...
def acknowledging(kinds: Any, lines: Any) -> Any:
    """Whether a record is the bus idle cycle that acknowledges TRAP or RST x.5.

    Args:
        kinds, lines: as of :func:`given`.
    """
    return (kinds == _IDLE_TYPE) & (lines & ACKNOWLEDGES == ACKNOWLEDGES)


def is_given(record: Any) -> bool:
    """:func:`given` of one record."""
    return given(int(record["type"]), int(record["lines"]))


def is_acknowledge(record: Any) -> bool:
    """:func:`acknowledging` of one record."""
    return acknowledging(int(record["type"]), int(record["lines"]))


def turns_after(record: Any, follower: Any) -> bool:
    """Whether the bus is given away or comes back between two records; no if one is None."""
    return follower is not None and is_given(record) != is_given(follower)


def kind_of(record: Any, length: int, turns: bool) -> Kind:
    """What kind a record of ``length`` T-states is; not of HALT, HOLD and RESET.

    One of a bus master may have been looked at before its end.
    """
    cycle, waits = Cycle(int(record["type"])), int(record["waits"])
    bare = max(length - waits, SHORTEST)
    return Kind(cycle, bare, waits, is_acknowledge(record), is_given(record), turns)


@lru_cache(maxsize=4096)
def shape(kind: Kind) -> Shape:
    """How a machine cycle of this kind looks on the pins that the CPU and READY drive."""
    names = ("T1", "T2", *[WAIT] * kind.waits, *(f"T{n}" for n in range(3, kind.t_states + 1)))
    numbers = [0 if name == WAIT else int(name[1:]) for name in names]
    waits_left = kind.waits
    halves: list[Mapping[str, Shaped]] = []
    for place, number in enumerate(numbers):
        if number == 0:
            waits_left -= 1
        is_ready = number not in (0, 2) or waits_left == 0
        is_last = place == len(numbers) - 1
        for is_second in (False, True):
            halves.append(
                {
                    CLK: int(is_second),
                    **(_given if kind.is_given else _driven)(kind, number, is_second),
                    READY: int(is_ready),
                    HLDA: int(kind.is_given ^ (kind.turns and is_last and is_second)),
                }
            )
    if kind.is_given:  # the CPU's own T-states meanwhile, whatever the master calls its own
        names = (STATE_NAMES[Cycle.HOLD],) * len(names)
    return Shape(names, tuple(halves))


def _driven(kind: Kind, number: int, is_second: bool) -> dict[str, Shaped]:
    """What the CPU drives in half of T-state ``number`` of a machine cycle, 0 for a TW."""
    levels = BI_ACKNOWLEDGE if kind.acknowledges else LEVELS[kind.cycle]
    low, data = _buses(kind, levels, number, is_second)
    return {
        ALE: int(levels.ale and number == 1 and not is_second),
        # A8-A15 are unspecified in T4 to T6 (state chart), and as there is no ALE in the
        # bus idle cycles of DAD, nothing says what they show there.
        HIGH_ADDRESS: HIGH_BYTE if levels.ale and number <= 3 else UNDEFINED,
        ADDRESS_DATA: low if number == 1 else data,
        IO_M: levels.io_m,
        S1: levels.s1,
        S0: levels.s0,
        **_strobes(levels, number, is_second),
    }


def _strobes(levels: Levels, number: int, is_second: bool) -> dict[str, Shaped]:
    """A strobe is low from the start of T2 to the middle of T3."""
    is_active = number in (0, 2) or (number == 3 and not is_second)
    return {
        name: level if is_active else 1
        for name, level in ((RD, levels.rd), (WR, levels.wr), (INTA, levels.inta))
    }


def _buses(kind: Kind, levels: Levels, number: int, is_second: bool) -> tuple[Shaped, Shaped]:
    """AD0-AD7 in T1, and in the other T-states."""
    low: Shaped = LOW_BYTE if levels.ale else None
    if kind.cycle in WRITES:
        return low, DATA if number <= 3 else None
    if kind.cycle in READS:
        return low, DATA if number == 3 and not is_second else None
    return low, None


def _given(kind: Kind, number: int, is_second: bool) -> dict[str, Shaped]:
    """What a bus master puts on the board's bus; its low address byte has lines of its own."""
    levels = LEVELS[kind.cycle]
    is_data = number in (0, 2) or (number == 3 and not is_second)
    return {
        ALE: 0,
        HIGH_ADDRESS: HIGH_BYTE,
        ADDRESS_DATA: DATA if is_data else None,
        IO_M: None,
        S1: UNDEFINED,
        S0: UNDEFINED,
        **_strobes(levels, number, is_second),
    }


@lru_cache(maxsize=64)
def rest_shape(cycle: Cycle, turns: bool) -> Shape:
    """One T-state of HALT, HOLD or RESET; ``turns`` as in :class:`Kind`.

    S1 and S0 are unspecified in hold and reset (state chart).
    """
    levels = LEVELS[cycle]
    is_hold = cycle is Cycle.HOLD
    common: dict[str, Shaped] = {
        ALE: 0,
        HIGH_ADDRESS: None,
        ADDRESS_DATA: None,
        IO_M: levels.io_m,
        S1: UNDEFINED if levels.s1 is None else levels.s1,
        S0: UNDEFINED if levels.s0 is None else levels.s0,
        RD: levels.rd,
        WR: levels.wr,
        INTA: levels.inta,
        READY: 1,
    }
    halves = tuple(
        {CLK: half, **common, HLDA: int(is_hold ^ (turns and half == 1))} for half in (0, 1)
    )
    return Shape((STATE_NAMES[cycle],), halves)


def _resting(record: Any, place: int, ts: Sequence[int], turns: bool) -> Iterator[State]:
    cycle = Cycle(int(record["type"]))
    sampled, hold = _sampled(record)
    after = int(cycle is not Cycle.HOLD)
    for t in ts:
        left = ts[-1] - t if turns else _FAR
        one = rest_shape(cycle, left == 0)
        # HOLD is sampled when CLK falls for the last of them, and set up before.
        holds = (after if left == 0 else hold, after if left <= 1 else hold)
        first, second = (
            {**_filled(half, 0, 0), HOLD: held, **sampled}
            for half, held in zip(one.halves, holds, strict=True)
        )
        yield State(t, one.names[0], place, first, second)


def _cycle(record: Any, place: int, kind: Kind, end: int) -> Iterator[State]:
    start, address, data = int(record["t"]), int(record["address"]), int(record["data"])
    sampled, hold = _sampled(record)
    found = shape(kind)
    for number, name in enumerate(found.names[: end - start]):
        # HOLD is sampled in T2: one that is granted after this cycle was high by then, and
        # one that ends with this cycle was low.
        held = {HOLD: int(not kind.is_given) if kind.turns and number >= 1 else hold}
        first, second = (
            {**_filled(half, address, data), **held, **sampled}
            for half in found.halves[2 * number : 2 * number + 2]
        )
        yield State(start + number, name, place, first, second)


def _sampled(record: Any) -> tuple[dict[str, int], int]:
    """Levels of the pins known once a machine cycle, and of HOLD."""
    return _levels(record, SAMPLED), int(bool(int(record["lines"]) & Line.HOLD))


def _levels(record: Any, pins: Mapping[str, Line]) -> dict[str, int]:
    lines = int(record["lines"])
    return {name: int(bool(lines & line)) for name, line in pins.items()}


def _filled(half: Mapping[str, Shaped], address: int, data: int) -> dict[str, Level]:
    return {name: byte_of(level, address, data) for name, level in half.items()}


def byte_of(level: Shaped, address: int, data: int) -> Level:
    """The level that a shape's entry stands for in a record with this address and data."""
    if not isinstance(level, Bus):
        return level
    return data if level.shift < 0 else address >> level.shift & 0xFF
