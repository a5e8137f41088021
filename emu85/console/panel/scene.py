"""What the panel shows at one moment, taken from the session; it knows no terminal."""

from __future__ import annotations

import enum
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from emu85.bus.cycles import SHORTEST, STATES, Cycle
from emu85.bus.expand import expand
from emu85.bus.glow import DARK, SHAPED, Glow, glow, together
from emu85.bus.pins import HOLD, SAMPLED
from emu85.console.panel.room import Room
from emu85.console.session import Session
from emu85.console.views import bus
from emu85.console.views.code import begun, instruction_of
from emu85.wording import counted

_MOST_RECORDS = 65_536
"""Machine cycles that a frame looks at; where more go by in one, the last of them."""
_SHOWN_AT = 2
"""T-state of a machine cycle, from 0, that a held machine's lamps show: T3, when the byte is
on the bus and the strobe low."""

_FIGURES = 0.5
"""Seconds of the wall clock over which figures are taken, so that they can be read."""


class Mode(enum.Enum):
    """What the board does."""

    HELD = enum.auto()
    PACING = enum.auto()
    RUNNING = enum.auto()


@dataclass(frozen=True)
class Scene:
    """Everything that is drawn.

    Attributes:
        board: its name.
        t, seconds: board time.
        speed: against the crystal.
        pace: steps a second that the pace would make.
        glow: how bright each lamp is.
        figures: the same over a longer time, to be read as numbers.
        address, data: of the last machine cycle; None while the buses float.
        cycle: what it is, in words.
        code: the instruction it belongs to.
        registers: in one line.
        hold_on: cycle types to be held at.
        stops: the user's and the firmware's stops.
        head: above the last machine cycles.
        rows: the last machine cycles, oldest first.
        serial_end: the serial end that keys can go to; empty for none.
        serial: what has come from it, the line that is being written last.
        is_typing: keys go to the serial end.
        message: what there is to tell.
    """

    board: str
    mode: Mode
    t: int
    seconds: float
    speed: str
    pace: float
    glow: Glow
    figures: Glow
    address: int | None
    data: int | None
    cycle: str
    code: str
    registers: str
    hold_on: frozenset[Cycle]
    stops: Sequence[str]
    head: Sequence[str]
    rows: Sequence[str]
    serial_end: str
    serial: Sequence[str]
    is_typing: bool
    message: str


class Watcher:
    """Looks at the machine between frames: what has passed since the last one.

    Attributes:
        glow: shares since the last look, or the levels of the last machine cycle.
        figures: shares over about the last half second, or those levels.
    """

    def __init__(self, session: Session, clock: Callable[[], float] = time.monotonic) -> None:
        """``clock`` is the wall clock, in seconds."""
        self.glow = self.figures = DARK
        self._session = session
        self._clock = clock
        self._seen = session.machine.trace.total
        self._t = session.machine.t
        self._gathered: list[Glow] = []
        self._since: float | None = None

    def look(self, *, is_still: bool) -> None:
        """Look now.

        Args:
            is_still: the machine goes by single steps, or not at all.
        """
        machine = self._session.machine
        since, seen = self._t, self._seen
        self._t, self._seen = machine.t, machine.trace.total
        if is_still or machine.t <= since or machine.trace.total < seen:
            self.glow = self.figures = self._levels()
            self._since = None
            return
        fresh = min(machine.trace.total - seen, len(machine.trace) - 1, _MOST_RECORDS)
        records = machine.trace.last(fresh + 1)  # the one before may have gone on until now
        self.glow = glow(records, max(since, int(records["t"][0])), machine.t)
        self._gather()

    def _gather(self) -> None:
        now = self._clock()
        if self._since is None:
            self.figures, self._since, self._gathered = self.glow, now, []
        self._gathered.append(self.glow)
        if now - self._since >= _FIGURES:
            self.figures, self._since, self._gathered = together(self._gathered), now, []

    def _levels(self) -> Glow:
        """The lamps as they stand at the end of a machine cycle that is looked at."""
        machine = self._session.machine
        if not len(machine.trace):
            return DARK
        records = machine.trace.last(1)
        start, waits = int(records["t"][0]), int(records["waits"][0])
        states = expand(records, max(machine.t, start + waits + SHORTEST))
        *_, state = islice(states, _SHOWN_AT + 1 + waits)
        levels = state.first
        pins = {pin: float(levels[pin] == 1) for pin in (*SHAPED, HOLD, *SAMPLED)}
        shown = glow(records, start, machine.t)
        return Glow(1, shown.address, shown.data, pins)


def last_cycle(session: Session) -> tuple[int | None, int | None, str, str]:
    """Address and byte of the last machine cycle, what it was, and its instruction."""
    machine = session.machine
    if not len(machine.trace):
        return None, None, "", ""
    record = machine.trace[-1]
    text = f"{Cycle(int(record['type'])).name:<5} {bus.sentence(record)}"
    if int(record["type"]) in STATES:
        return None, None, text, ""
    return int(record["address"]), int(record["data"]), text, instruction_of(machine)


def cycle_rows(session: Session, room: Room) -> tuple[list[str], list[str]]:
    """The last machine cycles and the head above them.

    They have the T-state, type, address, byte and the instruction begun, and where there is
    room all that the console's ``bus`` shows.
    """
    machine = session.machine
    records = machine.trace.last(min(room.rows, len(machine.trace)))
    if room.is_wide:
        return bus.header(room.left), bus.rows(records, room.left, session.disassembly)
    return ["last machine cycles"], [_short_row(session, record) for record in records]


def _short_row(session: Session, record: Any) -> str:
    cycle = Cycle(int(record["type"]))
    at = (
        f"{'----':<4} --"
        if cycle in STATES
        else f"{int(record['address']):04X} {int(record['data']):02X}"
    )
    text = begun(session.machine, record) if cycle in (Cycle.OF, Cycle.INA) else ""
    return f"{int(record['t']):>10} {cycle.name:<5} {at} {text}".rstrip()


def stop_texts(session: Session) -> list[str]:
    """The armed stops, with how often each has hit."""
    return [
        f"{stop.number} {stop.text} ({counted(stop.hits, 'hit')}"
        f"{', the firmware' if stop.owner != 'user' else ''})"
        for stop in session.machine.stops
        if stop.armed
    ]
