"""The trace as changes of pins, in order of time, at bounded memory.

Machine cycles come in few kinds.  For each, together with the levels that the pins had
before it, the changes are worked out once; what differs from cycle to cycle is the
address and the byte on the bus.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from functools import reduce
from operator import or_
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import SHORTEST, STATES, Cycle
from emu85.bus.expand import Bus, Kind, Shaped, acknowledging, byte_of, given, is_given, rest_ts
from emu85.bus.lines import Line
from emu85.bus.pins import HOLD, PINS, REQUESTS, SAMPLED, Level
from emu85.timing.edges import Placed, Placer

# Plain numbers: an enumeration's own operators cost more than all the rest of a cycle.
_SHOWN = int(reduce(or_, SAMPLED.values(), Line.HOLD | Line.HLDA | Line.IO_M))
"""Bits of a record's lines that a waveform depends on."""
_REQUESTS = int(reduce(or_, REQUESTS.values()))
_CYCLES = tuple(Cycle)
_STATES = frozenset(map(int, STATES))
_HOLD, _HOLD_TYPE = int(Line.HOLD), int(Cycle.HOLD)

_MOST_KNOWN = 20_000
"""Kinds of changes that are remembered; a run has some hundreds."""


class Change(NamedTuple):
    """A pin changes.

    Attributes:
        ps: picoseconds since power-on.
        pin: one of ``bus.pins.PINS``.
        level: what it changes to.
    """

    ps: int
    pin: str
    level: Level


class Woven(NamedTuple):
    """The changes of a machine cycle, or of a T-state of halt, hold or reset.

    Attributes:
        start: picoseconds since power-on.
        placed: the changes, from the start on, in order; cycles that change alike share
            one tuple.  A byte of a bus may be one that stood there already.
        address, data: what the bytes of its buses are made of.
        cycle: its type.
        begins: it is the start of a record.
    """

    start: int
    placed: tuple[Placed, ...]
    address: int
    data: int
    cycle: Cycle
    begins: bool


class _Record(NamedTuple):
    """A trace record as Python's own numbers."""

    t: int
    address: int
    data: int
    type: int
    lines: int
    waits: int


class Weaver:
    """Makes changes of records that come in batches, each right after the one before."""

    def __init__(self, placer: Placer, ends: int | None = None) -> None:
        """``ends``: as in :func:`emu85.bus.expand.expand`."""
        self._placer = placer
        self._ends = ends
        self._levels: tuple[Shaped | str, ...] = ("",) * len(PINS)  # not known yet
        self._known: dict[Hashable, tuple[tuple[Placed, ...], tuple[Shaped | str, ...]]] = {}
        self._waiting: _Record | None = None
        self._was_given = False

    def feed(self, records: NDArray[np.void]) -> Iterator[Woven]:
        """The changes of all but the last record, which waits for how it goes on.

        Args:
            records: ``bus.trace.RECORD``, oldest first, none left out.
        """
        columns = [records[name].tolist() for name in _Record._fields]
        for record in map(_Record, *columns):
            if self._waiting is not None:
                given_after = given(record.type, record.lines)
                yield from self._weave(self._waiting, record.t, given_after, record.lines)
            self._waiting = record

    def finish(self, end_t: int, after: Any = None) -> Iterator[Woven]:
        """The changes of the last record.

        Args:
            end_t: T-state at which it ends.
            after: the record that follows, if there is one.
        """
        last, self._waiting = self._waiting, None
        if last is None:
            return
        given_after = given(last.type, last.lines) if after is None else is_given(after)
        lines_after = last.lines if after is None else int(after["lines"])
        yield from self._weave(last, end_t, given_after, lines_after)

    def _weave(
        self, record: _Record, end: int, given_after: bool, lines_after: int
    ) -> Iterator[Woven]:
        given_now = given(record.type, record.lines)
        turns = given_now != given_after
        lines = record.lines & _SHOWN
        asked = lines_after & _REQUESTS
        cycle = _CYCLES[record.type]
        start_ps = self._placer.start_ps
        if record.type in _STATES:
            hold = lines & _HOLD
            if turns:
                hold = _HOLD if record.type != _HOLD_TYPE else 0
            after = asked | hold
            for t in rest_ts(record.t, end, self._ends):
                last = turns and t == end - 1
                left = end - t
                # Each T-state is for itself: the change is in the last but one, if there is one.
                requests = None
                if left == min(2, end - record.t):
                    requests = (after, left)
                elif left == 1:
                    lines = after | lines & ~_REQUESTS & ~_HOLD
                key = (cycle, last, lines, requests, self._was_given, self._levels)
                placed = self._placed(key)
                yield Woven(start_ps(t), placed, 0, 0, cycle, t == record.t)
        else:
            acknowledges = acknowledging(record.type, lines)
            # A bus master's may have been looked at before its end.
            t_states = max(end - record.t - record.waits, SHORTEST)
            kind = Kind(cycle, t_states, record.waits, acknowledges, given_now, turns)
            comes_back = self._was_given and not given_now
            requests = (asked, end - record.t)
            placed = self._placed((kind, comes_back, lines, requests, False, self._levels))
            yield Woven(start_ps(record.t), placed, record.address, record.data, cycle, True)
        self._was_given = given_now

    def _placed(self, key: tuple[Any, ...]) -> tuple[Placed, ...]:
        """The changes of a kind after these levels; the levels that it leaves are noted."""
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            found = self._known[key] = self._work_out(*key)
        self._levels = found[1]
        return found[0]

    def _work_out(
        self,
        kind: Kind | Cycle,
        flag: bool,
        lines: int,
        requests: tuple[int, int] | None,
        was_given: bool,
        before: tuple[Shaped | str, ...],
    ) -> tuple[tuple[Placed, ...], tuple[Shaped | str, ...]]:
        """The changes, and the levels afterwards.

        Args:
            flag: of a Kind, that the bus comes back; of a state, that it turns after it.
            requests: those for an interrupt as they are to be sampled, and the T-states that
                are left then; None if they are not sampled meanwhile.
        """
        inputs = [Placed(0, pin, int(bool(lines & line))) for pin, line in SAMPLED.items()]
        inputs.append(Placed(0, HOLD, int(bool(lines & Line.HOLD))))
        if requests is not None:
            asked, left = requests
            at = self._placer.set_up("tINS", left)
            inputs += [Placed(at, pin, int(bool(asked & line))) for pin, line in REQUESTS.items()]
            if isinstance(kind, Cycle):
                hold = int(bool(asked & Line.HOLD))
                inputs.append(Placed(self._placer.set_up("tHDS", left), HOLD, hold))
        if isinstance(kind, Cycle):
            placed = self._placer.rest(kind, flag, was_given)
        else:
            placed = self._placer.cycle(kind, flag)
            if kind.turns:
                inputs.append(Placed(self._placer.hold_rises(), HOLD, int(not kind.is_given)))
        now = dict(zip(PINS, before, strict=True))
        changed = []
        for one in sorted((*inputs, *placed), key=lambda each: each.ps):
            if now[one.pin] != one.level or isinstance(one.level, Bus):
                now[one.pin] = one.level
                changed.append(one)
        return tuple(changed), tuple(now[pin] for pin in PINS)


def outputs(
    records: NDArray[np.void],
    end_t: int,
    placer: Placer,
    *,
    after: Any = None,
    ends: int | None = None,
) -> Iterator[Change]:
    """As :func:`changes`, with every byte that is put on a bus where the same stood already.

    Args:
        ends: how many T-states to give at each end of a long halt, hold or reset.
    """
    weaver = Weaver(placer, ends)
    for part in (weaver.feed(records), weaver.finish(end_t, after)):
        for woven in part:
            for ps, pin, shaped in woven.placed:
                yield Change(woven.start + ps, pin, byte_of(shaped, woven.address, woven.data))


def changes(
    records: NDArray[np.void], end_t: int, placer: Placer, *, after: Any = None
) -> Iterator[Change]:
    """Every change of a pin in a stretch of the trace.

    Args:
        records: ``bus.trace.RECORD``, oldest first, none left out.
        end_t: T-state at which the last of them ends.
        after: the record that follows, if there is one.
    """
    now: dict[str, Level] = {}
    for one in outputs(records, end_t, placer, after=after):
        if one.pin not in now or now[one.pin] != one.level:
            now[one.pin] = one.level
            yield one
