"""How bright a lamp on each line glows: the share of a time for which the line was high.

Address and data lamps show the address that ALE has latched and the byte that crosses the
bus, for as long as the machine cycle lasts; the other lamps hang on the pins themselves.
A line that floats does not glow.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import Kind, Shape, acknowledging, expand, given, rest_shape, shape
from emu85.bus.lines import Line
from emu85.bus.pins import (
    ALE,
    HLDA,
    HOLD,
    INTA,
    IO_M,
    RD,
    READY,
    S0,
    S1,
    SAMPLED,
    WR,
)

SHAPED: tuple[str, ...] = (ALE, IO_M, S1, S0, RD, WR, INTA, READY, HLDA)
"""Pins whose levels follow from the kind of machine cycle."""
_STATES = np.array([int(one) for one in STATES], np.int64)
_KIND_BITS = 16
_WAIT_LIMIT = 15
"""Machine cycles with more wait states are looked at one by one."""


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
        records: ``bus.trace.RECORD``, oldest first, none left out; the first may have begun
            before.
        start_t, end_t: T-states between which the lamps are looked at.
    """
    if not len(records) or end_t <= start_t:
        return DARK
    starts = np.maximum(records["t"], start_t)
    lengths = np.append(starts[1:], end_t) - starts
    kinds = records["type"].astype(np.int64)
    is_rest = np.isin(kinds, _STATES)
    lines = records["lines"].astype(np.int64)
    is_given = given(kinds, lines)
    turns = np.append(is_given[1:] != is_given[:-1], False)
    waits = records["waits"].astype(np.int64)
    alone = np.flatnonzero(turns | (waits > _WAIT_LIMIT))
    counted = np.ones(len(records), bool)
    counted[alone] = False

    halves = dict.fromkeys(SHAPED, 0.0)
    _count_cycles(halves, kinds, lengths, waits, lines, is_given, counted & ~is_rest)
    _count_rests(halves, kinds, lengths, counted & is_rest)
    hold = lines // int(Line.HOLD) & 1
    held = float(_t_states(hold[counted], lengths[counted]))
    for place in alone.tolist():
        after = records[place + 1] if place + 1 < len(records) else None
        held += _one_by_one(
            halves,
            records[place : place + 1],
            int(starts[place] + lengths[place]),
            int(starts[place]),
            after,
        )
    total = end_t - int(starts[0])
    driven = np.where(is_rest, 0, lengths)
    pins = {pin: number / 2 / total for pin, number in halves.items()}
    pins[HOLD] = held / total
    for pin, line in SAMPLED.items():
        pins[pin] = _t_states(lines // int(line) & 1, lengths) / total
    return Glow(
        total,
        _high_t(records["address"], 16, driven) / total,
        _high_t(records["data"], 8, driven) / total,
        pins,
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


def _count_cycles(
    halves: dict[str, float],
    kinds: NDArray[np.int64],
    lengths: NDArray[np.int64],
    waits: NDArray[np.int64],
    lines: NDArray[np.int64],
    is_given: NDArray[np.bool_],
    counted: NDArray[np.bool_],
) -> None:
    """Add the half T-states for which each pin is high: so many cycles of each kind."""
    acknowledges = acknowledging(kinds, lines)
    keys = kinds | (lengths - waits) << 4 | waits << 8 | acknowledges << 12 | is_given << 13
    numbers = np.bincount(keys[counted], minlength=1 << _KIND_BITS)
    for key in np.flatnonzero(numbers).tolist():
        for pin, high in _high_halves(key).items():
            halves[pin] += high * int(numbers[key])


@cache
def _high_halves(key: int) -> dict[str, int]:
    kind = Kind(
        Cycle(key & 15), key >> 4 & 15, key >> 8 & 15, bool(key >> 12 & 1), bool(key >> 13 & 1)
    )
    return _high(shape(kind))


def _high(one: Shape) -> dict[str, int]:
    return {pin: sum(half[pin] == 1 for half in one.halves) for pin in SHAPED}


def _count_rests(
    halves: dict[str, float],
    kinds: NDArray[np.int64],
    lengths: NDArray[np.int64],
    counted: NDArray[np.bool_],
) -> None:
    for state in STATES:
        t_states = int(lengths[counted & (kinds == state)].sum())
        if t_states:
            for pin, high in _high(rest_shape(state, False)).items():
                halves[pin] += high * t_states


def _one_by_one(
    halves: dict[str, float],
    record: NDArray[np.void],
    end_t: int,
    start_t: int,
    after: np.void | None,
) -> float:
    """Add one machine cycle T-state by T-state; T-states for which HOLD was high."""
    held = 0.0
    for state in expand(record, end_t, after=after):
        if state.t < start_t:
            continue
        for half in (state.first, state.second):
            held += (half[HOLD] == 1) / 2
            for pin in SHAPED:
                halves[pin] += half[pin] == 1
    return held
