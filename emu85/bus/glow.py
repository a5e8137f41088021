"""How bright a lamp on each line glows: the share of a time for which the line was high.

Address and data lamps show the address that ALE has latched and the byte that crosses the
bus, for as long as the machine cycle lasts; the other lamps hang on the pins themselves.
A line that floats does not glow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import SHORTEST, STATES, Cycle
from emu85.bus.expand import Kind, Shaped, acknowledging, expand, given, rest_shape, shape
from emu85.bus.lines import Line
from emu85.bus.pins import (
    ALE,
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
    WR,
)

SHAPED: tuple[str, ...] = (ALE, IO_M, S1, S0, RD, WR, INTA, READY, HLDA)
"""Pins whose levels follow from the kind of machine cycle."""
_STATES = np.array([int(one) for one in STATES], np.int64)
_LONGEST = 7
"""T-states of a cycle, without waits, that are told apart: from T4 on nothing changes but
HLDA at the end (the state chart), and a bus master's cycle may last any time."""
_ASKED = 3
"""Half T-states before a machine cycle from which on the requests for an interrupt have the
level that is sampled for it, as ``bus.expand`` draws them."""


class Glow(NamedTuple):
    """Shares from 0 to 1.

    Attributes:
        t_states: over how many T-states.
        address: float64, 16; A0 first.
        data: float64, 8; D0 first.
        pins: by pin, buses and CLK excepted.
    """

    t_states: int
    address: NDArray[np.float64]
    data: NDArray[np.float64]
    pins: dict[str, float]


DARK = Glow(0, np.zeros(16), np.zeros(8), dict.fromkeys((*SHAPED, HOLD, *SAMPLED), 0.0))
"""Nothing has happened."""


def glow(records: NDArray[np.void], start_t: int, end_t: int) -> Glow:
    """The shares over a stretch of the trace.

    Args:
        records: ``bus.trace.RECORD``, oldest first, none left out; the first ones may have
            begun, and ended, before.
        start_t, end_t: T-states between which the lamps are looked at.
    """
    first = max(0, int(np.searchsorted(records["t"], start_t, "right")) - 1)
    records = records[first:]
    if not len(records) or end_t <= start_t:
        return DARK
    stretch = _stretch(records, start_t, end_t)
    halves = dict.fromkeys((*SHAPED, HOLD), 0)
    cut = _cut_off(records, stretch, start_t)
    for place in np.flatnonzero(cut).tolist():
        _count_cut(halves, records[place : place + 2], stretch.lengths[place], start_t)
    whole = stretch.of(~cut)
    _count_cycles(halves, whole)
    _count_rests(halves, whole)
    halves[HOLD] += _hold(whole)
    total = end_t - stretch.start_t
    driven = np.where(stretch.is_rest, 0, stretch.lengths)
    pins = {pin: number / 2 / total for pin, number in halves.items()}
    asked = np.minimum(2 * stretch.lengths, _ASKED)
    asked[-1] = 0  # what follows is not known
    after = np.roll(stretch.lines, -1)
    for pin, line in SAMPLED.items():
        now = stretch.lines // int(line) & 1
        high = 2 * _t_states(now, stretch.lengths)
        if pin in REQUESTS:
            high += _t_states((after // int(line) & 1) - now, asked)
        pins[pin] = high / 2 / total
    return Glow(
        total,
        _high_t(records["address"], 16, driven) / total,
        _high_t(records["data"], 8, driven) / total,
        pins,
    )


class _Stretch(NamedTuple):
    """Columns of the records of a stretch.

    Attributes:
        start_t: when it begins, in T-states.
        lengths: T-states of each that are within it.
        turns: as of ``bus.expand.Kind``.
    """

    start_t: int
    kinds: NDArray[np.int64]
    lengths: NDArray[np.int64]
    waits: NDArray[np.int64]
    lines: NDArray[np.int64]
    is_rest: NDArray[np.bool_]
    is_given: NDArray[np.bool_]
    turns: NDArray[np.bool_]

    def of(self, which: NDArray[np.bool_]) -> _Stretch:
        """Some of them."""
        return _Stretch(
            self.start_t,
            self.kinds[which],
            self.lengths[which],
            self.waits[which],
            self.lines[which],
            self.is_rest[which],
            self.is_given[which],
            self.turns[which],
        )


def _cut_off(records: NDArray[np.void], stretch: _Stretch, start_t: int) -> NDArray[np.bool_]:
    """Machine cycles of which only a part is within: the first, or a bus master's last."""
    cut = stretch.lengths < stretch.waits + SHORTEST
    cut[0] |= int(records["t"][0]) < start_t
    return cut & ~stretch.is_rest


def _stretch(records: NDArray[np.void], start_t: int, end_t: int) -> _Stretch:
    starts = np.maximum(records["t"], start_t)
    kinds = records["type"].astype(np.int64)
    lines = records["lines"].astype(np.int64)
    is_given = given(kinds, lines)
    return _Stretch(
        int(starts[0]),
        kinds,
        np.append(starts[1:], end_t) - starts,
        records["waits"].astype(np.int64),
        lines,
        np.isin(kinds, _STATES),
        is_given,
        np.append(is_given[1:] != is_given[:-1], False),
    )


def together(parts: Sequence[Glow]) -> Glow:
    """The shares over several stretches as over one.

    Args:
        parts: at least one, and not all of no T-states.
    """
    total = sum(part.t_states for part in parts)
    return Glow(
        total,
        sum((part.address * part.t_states for part in parts), np.zeros(16)) / total,
        sum((part.data * part.t_states for part in parts), np.zeros(8)) / total,
        {
            pin: sum(part.pins[pin] * part.t_states for part in parts) / total
            for pin in parts[0].pins
        },
    )


def _high_t(values: NDArray[np.void], width: int, lengths: NDArray[np.int64]) -> NDArray[np.int64]:
    """T-states for which each bit is high, bit 0 first."""
    wide = values.astype(np.int64)
    return np.array([_t_states(wide >> bit & 1, lengths) for bit in range(width)])


def _t_states(is_high: NDArray[np.int64], lengths: NDArray[np.int64]) -> int:
    """The T-states of those cycles in which something is high (0 or 1)."""
    return int(is_high @ lengths)  # of integers: floats would go to a library of many threads


def _count_cycles(halves: dict[str, int], some: _Stretch) -> None:
    """Add the half T-states for which each pin is high: so many cycles of each kind."""
    cycles = ~some.is_rest
    bare = some.lengths - some.waits
    keys = (
        some.kinds
        | np.minimum(bare, _LONGEST) << 4
        | acknowledging(some.kinds, some.lines) << 7
        | some.is_given << 8
        | some.turns << 9
        | some.waits << 10
    )[cycles]
    longer = np.maximum(bare - _LONGEST, 0)[cycles]
    numbers = np.bincount(keys)
    more = np.bincount(keys, longer)
    for key in np.flatnonzero(numbers).tolist():
        of_one, of_longer = _high_halves(key)
        for pin, high in of_one.items():
            halves[pin] += high * int(numbers[key]) + of_longer[pin] * int(more[key])


@cache
def _high_halves(key: int) -> tuple[dict[str, int], dict[str, int]]:
    """Of a cycle, and of each T-state that it is longer than is told apart."""
    kind = Kind(
        Cycle(key & 15),
        key >> 4 & 7,
        key >> 10,
        bool(key >> 7 & 1),
        bool(key >> 8 & 1),
        bool(key >> 9 & 1),
    )
    one = shape(kind)
    return _high(one.halves), _high([one.halves[-2]] * 2)


def _high(halves: Sequence[Mapping[str, Shaped]]) -> dict[str, int]:
    return {pin: sum(half[pin] == 1 for half in halves) for pin in SHAPED}


def _count_rests(halves: dict[str, int], some: _Stretch) -> None:
    for state in STATES:
        rests = some.kinds == state
        t_states = int(some.lengths[rests].sum())
        last = int((some.turns & (some.lengths > 0))[rests].sum())
        for turns, number in ((False, t_states - last), (True, last)):
            for pin, high in _high(rest_shape(state, turns).halves).items():
                halves[pin] += high * number


def _hold(some: _Stretch) -> int:
    """Half T-states for which HOLD was high, drawn as ``bus.expand`` draws it."""
    sampled = some.lines // int(Line.HOLD) & 1
    # Where the bus is given away or comes back HOLD has changed, in a cycle from T2 on and in
    # a halt or hold half a T-state before its last.
    turned = np.where(some.is_rest, np.minimum(2 * some.lengths, 3), 2 * some.lengths - 2)
    changed = np.where(some.turns & (some.lengths > 0), turned, 0)
    is_asked = np.where(some.is_rest, some.kinds != int(Cycle.HOLD), ~some.is_given)
    return _t_states(sampled, 2 * some.lengths - changed) + _t_states(is_asked, changed)


def _count_cut(
    halves: dict[str, int], records: NDArray[np.void], length: int, start_t: int
) -> None:
    """Add a part of the first of two machine cycles, T-state by T-state."""
    end_t = max(int(records["t"][0]), start_t) + int(length)
    after = records[1] if len(records) > 1 else None
    for state in expand(records[:1], end_t, after=after):
        if state.t < start_t:
            continue
        for pin in halves:
            halves[pin] += (state.first[pin] == 1) + (state.second[pin] == 1)
