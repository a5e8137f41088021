"""A stretch of the trace to be drawn: its machine cycles, their names, its T-states."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import islice, takewhile
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import State, expand, is_acknowledge, is_given
from emu85.bus.pins import PINS, Level
from emu85.isa.acknowledge import VECTORS
from emu85.machine import Machine

ALWAYS: tuple[str, ...] = PINS[:11]
"""Pins that are drawn in any case: CLK to READY."""
_INPUTS = {address: name for name, address in VECTORS.items()}
_GO_ON = (Cycle.HALT, Cycle.HOLD)
SHOWN_AT_REST = 2
"""T-states of a halt or hold that are drawn at its beginning, and as many at its end."""


@dataclass(frozen=True)
class Stretch:
    """Machine cycles that follow each other.

    Attributes:
        records: ``bus.trace.RECORD``, oldest first.
        end_t: T-state at which the last of them ends.
        names: what to write above each.
        before, after: the records beside it, or None where nothing is known.
        goes_on: it ends within a halt or hold.
    """

    records: NDArray[np.void]
    end_t: int
    names: Sequence[str]
    before: Any = None
    after: Any = None
    goes_on: bool = False

    def states(self) -> list[State]:
        """Every T-state."""
        return list(expand(self.records, self.end_t, after=self.after))

    def shown(self) -> list[State | Gap]:
        """The T-states to be drawn: the middle of long halts and holds is left out."""
        states = expand(self.records, self.end_t, after=self.after, ends=SHOWN_AT_REST)
        found: list[State | Gap] = []
        t = int(self.records["t"][0])
        for state in states:
            if state.t > t:
                found.append(Gap(state.t - t, state.record))
            found.append(state)
            t = state.t + 1
        if self.goes_on:
            found.append(Gap(None, len(self.records) - 1))
        return found


def stretch_of(
    machine: Machine,
    first: int,
    count: int,
    describe: Callable[[Any], str],
    *,
    from_t: int = 0,
) -> Stretch:
    """A stretch of a machine's trace, with names such as ``MR 8004 3E``.

    Args:
        first: place of its first record in the trace, 0 for the oldest that is kept.
        count: machine cycles, cut to what there is.
        describe: the instruction that an opcode fetch or an acknowledge begins.
        from_t: T-state at which the stretch begins, if that is within its first record, a
            halt or hold.
    """
    trace = machine.trace
    last = min(first + count, len(trace))
    follows = trace[last] if last < len(trace) else None
    # A window of the ring and not all of it: the trace may hold millions.
    records = trace.last(len(trace) - first)[: last - first]
    is_cut = from_t > int(records["t"][0])
    if is_cut:
        records["t"][0] = from_t
    return Stretch(
        records,
        machine.t if follows is None else int(follows["t"]),
        [
            cycle_name(one, describe, partial(taken_input, machine, place))
            for place, one in enumerate(records, first + 1)
        ],
        trace[first - 1] if first and not is_cut else None,
        follows,
        follows is None and int(records["type"][-1]) in _GO_ON,
    )


def cycle_name(record: Any, describe: Callable[[Any], str], taken: Callable[[], str]) -> str:
    """Type, address and byte of a machine cycle, and the instruction that it begins.

    One of a bus master, while the CPU is on hold, is told as DMA.  In a bus idle cycle no
    byte is on the bus; one that acknowledges has the name of the input that is taken.

    Args:
        taken: names the interrupt input that the record acknowledges.
    """
    cycle = Cycle(int(record["type"]))
    if cycle in STATES:
        return cycle.name
    if cycle is Cycle.BI:
        name = taken() if is_acknowledge(record) else ""
        return f"{cycle.name} {int(record['address']):04X} {name}".rstrip()
    by = "DMA " if is_given(record) else ""
    text = f"{by}{cycle.name} {int(record['address']):04X} {int(record['data']):02X}"
    begins = describe(record) if cycle in (Cycle.OF, Cycle.INA) else ""
    return f"{text} {begins}".rstrip()


def taken_input(machine: Machine, place: int) -> str:
    """The input whose acknowledge comes before a place of the trace; empty if not known yet.

    It shows in where the CPU goes on: the next instruction begins at the input's vector, or is
    itself an acknowledge with the vector as its PC.
    """
    trace = machine.trace
    for record in (trace[at] for at in range(place, len(trace))):
        kind = Cycle(int(record["type"]))
        if is_given(record) or kind in STATES:
            continue
        if kind in (Cycle.OF, Cycle.INA) or is_acknowledge(record):
            return _INPUTS.get(int(record["address"]), "")
    registers = machine.registers
    return _INPUTS.get(int(registers.pc), "") if registers.boundary else ""


def drawn_pins(shown: Sequence[State | Gap], chosen: Sequence[str] | None = None) -> list[str]:
    """The pins to draw: those chosen, or the bus and whatever else is active meanwhile."""
    if chosen is not None:
        return [pin for pin in PINS if pin in chosen]
    states = [one for one in shown if isinstance(one, State)]
    return [pin for pin in PINS if pin in ALWAYS or _is_active(states, pin)]


def _is_active(states: Sequence[State], pin: str) -> bool:
    levels: set[Level] = {half[pin] for state in states for half in (state.first, state.second)}
    return levels != {0}


@dataclass(frozen=True, slots=True)
class Gap:
    """T-states of a halt, hold or reset that are left out.

    Attributes:
        count: how many; None if that is still to come.
        record: of which machine cycle.
    """

    count: int | None
    record: int

    @property
    def text(self) -> str:
        """How many, in words."""
        return "on" if self.count is None else str(self.count)


def bands(
    states: Sequence[State | Gap], room: float, width: Callable[[State | Gap], float]
) -> Iterator[list[State | Gap]]:
    """Cut into what fits side by side: at the start of a machine cycle where that helps.

    Args:
        room: how wide a band may be, in the unit of ``width``.
    """
    band: list[State | Gap] = []
    used = 0.0
    for place, one in enumerate(states):
        begins = place == 0 or states[place - 1].record != one.record
        ahead = width(one)
        if begins:
            ahead = sum(width(each) for each in _of_record(states, place))
        full = used + width(one) > room
        if band and (full or (used + ahead > room >= ahead)):
            yield band
            band, used = [], 0.0
        band.append(one)
        used += width(one)
    if band:
        yield band


def _of_record(states: Sequence[State | Gap], place: int) -> Iterator[State | Gap]:
    """The states from a place on that belong to the same machine cycle."""
    record = states[place].record
    return takewhile(lambda one: one.record == record, islice(states, place, None))
