"""What the panel shows at one moment, taken from the session; it knows no terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.expand import expand
from emu85.bus.glow import DARK, SHAPED, Glow, glow
from emu85.bus.pins import HOLD, SAMPLED
from emu85.console.session import Session
from emu85.console.throttle import speed_text
from emu85.console.views import bus
from emu85.console.views.code import begun, instruction_of
from emu85.console.views.registers import brief

_MOST_RECORDS = 65_536
"""Machine cycles that a frame looks at; where more go by in one, the last of them."""
_SHOWN_AT = 2
"""T-state of a machine cycle, from 0, that a held machine's lamps show: T3, when the byte is
on the bus and the strobe low."""


@dataclass(frozen=True)
class Scene:
    """Everything that is drawn.

    Attributes:
        board: its name.
        mode: running, pacing or held.
        t, seconds: board time.
        speed: against the crystal.
        pace: steps a second that the pace would make.
        glow: how bright each lamp is.
        address, data: of the last machine cycle; None while the buses float.
        cycle: what it is, in words.
        code: the instruction it belongs to.
        registers: in one line.
        hold_on: cycle types to be held at.
        stops: the user's and the firmware's stops.
        rows: the last machine cycles, oldest first.
        serial_end: the serial end that keys can go to; empty for none.
        serial: what has come from it, the line that is being written last.
        is_typing: keys go to the serial end.
        message: what there is to tell.
    """

    board: str
    mode: str
    t: int
    seconds: float
    speed: str
    pace: float
    glow: Glow
    address: int | None
    data: int | None
    cycle: str
    code: str
    registers: str
    hold_on: frozenset[Cycle]
    stops: Sequence[str]
    rows: Sequence[str]
    serial_end: str
    serial: Sequence[str]
    is_typing: bool
    message: str


class Watcher:
    """Looks at the machine between frames: what has passed since the last one."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._seen = session.machine.trace.total
        self._t = session.machine.t

    def glow(self, *, is_still: bool) -> Glow:
        """Shares since the last look, or the levels of the last machine cycle.

        Args:
            is_still: the machine goes by single steps, or not at all.
        """
        machine = self._session.machine
        since, seen = self._t, self._seen
        self._t, self._seen = machine.t, machine.trace.total
        if is_still or machine.t <= since or machine.trace.total < seen:
            return self._levels()
        fresh = min(machine.trace.total - seen, len(machine.trace) - 1, _MOST_RECORDS)
        records = machine.trace.last(fresh + 1)  # the one before may have gone on until now
        return glow(records, max(since, int(records["t"][0])), machine.t)

    def _levels(self) -> Glow:
        """The lamps as they stand at the end of a machine cycle that is looked at."""
        machine = self._session.machine
        if not len(machine.trace):
            return DARK
        records = machine.trace.last(1)
        states = list(expand(records, machine.t))[: _SHOWN_AT + 1 + int(records["waits"][0])]
        levels = states[-1].first
        pins = {pin: float(levels[pin] == 1) for pin in (*SHAPED, HOLD, *SAMPLED)}
        shown = glow(records, int(records["t"][0]), machine.t)
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


def cycle_rows(session: Session, count: int) -> list[str]:
    """The last machine cycles: T-state, type, address, byte and the instruction begun."""
    machine = session.machine
    rows = []
    for record in machine.trace.last(min(count, len(machine.trace))):
        cycle = Cycle(int(record["type"]))
        at = (
            f"{'----':<4} --"
            if cycle in STATES
            else f"{int(record['address']):04X} {int(record['data']):02X}"
        )
        text = begun(machine, record) if cycle in (Cycle.OF, Cycle.INA) else ""
        rows.append(f"{int(record['t']):>10} {cycle.name:<5} {at} {text}".rstrip())
    return rows


def stop_texts(session: Session) -> list[str]:
    """The armed stops, with how often each has hit."""
    return [
        f"{stop.number} {stop.text} ({stop.hits} hit{'' if stop.hits == 1 else 's'}"
        f"{', the firmware' if stop.owner != 'user' else ''})"
        for stop in session.machine.stops
        if stop.armed
    ]


def registers_text(session: Session) -> str:
    """All registers in one line."""
    return brief(session.machine)


def speed_of(session: Session) -> str:
    """The throttle's speed as the console writes it."""
    return speed_text(session.throttle.factor)
