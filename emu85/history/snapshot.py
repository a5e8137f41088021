"""The whole state of a machine at one moment, to be put back later.

Whatever decides how the machine goes on is in it: the CPU, memory, chips, wires,
characters under way, deadlines, findings, and the stops that firmware has armed.
The user's own stops are not, nor who listens: they stay as they are when a
snapshot is put back.  What those stops had counted is noted beside it
(:mod:`emu85.history.stops_then`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.trace import RECORD
from emu85.cpu.layout import UNTOUCHED_BITS, WATCH_SHIFT, MapBit, State
from emu85.history.copying import Copier, attributes
from emu85.history.stops_then import Then
from emu85.history.touched import touched
from emu85.stops import Condition, Progress

if TYPE_CHECKING:
    from emu85.machine import Machine

_STOP_BITS = int(MapBit.READ_EXIT) - (1 << WATCH_SHIFT) | int(MapBit.HOLD_BEFORE) | UNTOUCHED_BITS
"""Bits of a map word that belong to the stops of now, to a motion and to the history."""

MOTION_CELLS = [
    State.LIMIT,
    State.BUDGET,
    State.WANT_BOUNDARY,
    State.STOPS,
    State.LINE_STOPS,
    State.SKIP_HOLD_BEFORE,
    State.MOVED,
]
"""Cells of the state vector that belong to a motion, to the stops of now and to the history."""


@dataclass(frozen=True, slots=True)
class _Words:
    """The map where it is not as it was when power came on."""

    places: NDArray[np.intp]
    words: NDArray[np.int64]


class Snapshot:
    """A machine at rest, as it was when this was made.

    Attributes:
        t: T-states since power-on.
        total: machine cycles since power-on.
        last_record: the last of them, an array of length 1.
        stops: what the user's stops had counted.
        touched: what was touched between the snapshot before and this one.
        sought: how far stops would be that had been armed at power-on, and when they would
            have hit last (T-states, -1 for never); only what has been looked for.
    """

    def __init__(self, machine: Machine, first_map: NDArray[np.int64]) -> None:
        """``first_map`` is a copy of the board's map from which only differences are kept."""
        self.t = machine.t
        self.total = machine.trace.total
        self.stops: Then = {}
        self.sought: dict[Condition, tuple[Progress, int]] = {}
        self.touched = touched(machine)
        self.last_record = _last_record(machine)
        self._cells = np.array(machine.registers.state, dtype=np.int64)
        self._first_map = first_map
        self._words = _differences(machine.board.map, first_map)
        self._store = machine.board.store.copy()
        self._findings = machine.findings.kept()
        self._parts = machine.parts()
        self._firmware = machine.stops.kept("firmware")
        copier = Copier(self._fixed(machine))
        self._held = [_copied(part, copier) for part in self._parts]

    @property
    def lines(self) -> int:
        """Levels of the inputs, SOD and HLDA, bits of a lines word."""
        return int(self._cells[State.LINES])

    def byte(self, cell: int) -> int:
        """What a cell of the store held."""
        return int(self._store[cell]) & 0xFF

    def memory(self) -> tuple[NDArray[np.uint16], NDArray[np.int64]]:
        """The store and the map, but for the bits of stops; not to be changed."""
        return self._store, _as_they_were(self._words, self._first_map)

    def put_back(self, machine: Machine) -> None:
        """Make the machine what it was; the trace keeps what it still has of the time before.

        The machine must be the one it was made of.
        """
        copier = Copier(self._fixed(machine))
        for part, held in zip(self._parts, self._held, strict=True):
            for name, value in held.items():
                setattr(part, name, copier.copy(value))
        machine.board.store[:] = self._store
        _put_words(machine.board.map, self._words, self._first_map)
        machine.findings.put_back(self._findings)
        machine.stops.put_back("firmware", self._firmware)
        self._put_cells(machine)
        machine.trace.go_to(self.total)
        machine.trace.remember(self.last_record)

    def _put_cells(self, machine: Machine) -> None:
        state = machine.registers.state
        cells = self._cells.tolist()
        for cell, value in enumerate(cells):
            if cell not in MOTION_CELLS:
                state[cell] = value

    def _fixed(self, machine: Machine) -> list[object]:
        stops = [kept.stop for kept in self._firmware.stops]
        return [*machine.fixed(), *stops, *self._parts]


def _last_record(machine: Machine) -> NDArray[np.void]:
    """That of the last machine cycle, or one with its levels if the trace has none."""
    if len(machine.trace):
        return machine.trace.last(1)
    record = np.zeros(1, RECORD)
    record["t"] = machine.registers.state[State.LAST_START]
    record["lines"] = machine.registers.state[State.PREVIOUS]
    record["type"] = Cycle.BI
    return record


def _copied(part: object, copier: Copier) -> dict[str, Any]:
    """What a part holds; its own idea of what is not state is left out."""
    outside: frozenset[str] = getattr(part, "NOT_STATE", frozenset())
    return {name: copier.copy(value) for name, value in attributes(part, outside).items()}


def _differences(words: NDArray[np.int64], first: NDArray[np.int64]) -> _Words:
    places = np.flatnonzero((words ^ first) & ~np.int64(_STOP_BITS))
    return _Words(places, words[places] & ~np.int64(_STOP_BITS))


def _as_they_were(kept: _Words, first: NDArray[np.int64]) -> NDArray[np.int64]:
    """The map, but for the bits of stops."""
    words: NDArray[np.int64] = first & ~np.int64(_STOP_BITS)
    words[kept.places] = kept.words
    return words


def _put_words(words: NDArray[np.int64], kept: _Words, first: NDArray[np.int64]) -> None:
    """Put the map back, but for the bits of the stops of now."""
    stop_bits = words & np.int64(_STOP_BITS)
    words[:] = _as_they_were(kept, first) | stop_bits
