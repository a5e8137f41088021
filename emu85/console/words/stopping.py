"""Stops"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.registry import form
from emu85.console.views.held import worded
from emu85.console.views.noticed import noticed, when
from emu85.stops import Stop
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("stop CONDITION", "hold the machine where a condition is met")
def stop(session: Session, condition: str) -> None:
    """Cycle types      stop on MW …      stop on IOR,IOW …      stop on any …
    Address          … at 8004     … at 8000-80FF     … outside 0000-1FFF
                     … at hi 80    … at lo 1B         … at 80xx
    Data             … data 1B     … data 3x
    Lines            stop when SOD high      stop when RST 7.5 rises
    Counting         … after 5     lets five go by
    Order            stop on MW at 8004 then OF at 0150"""
    stops = session.machine.stops
    made = stops.add(condition, symbols=session.machine.symbols)
    session.screen.show(_line(made))
    twins = [one.number for one in stops if one is not made and one.condition == made.condition]
    if twins:
        session.screen.show(f"     the same as stop {twins[0]}")


@form("stops", "the stops there are, and how often each has hit")
def stops(session: Session) -> None:
    """As they were written; what that came to stands in brackets if it differs."""
    lines = [_line(one) for one in session.machine.stops]
    if not lines:
        session.screen.show("No stops. 'stop on …' makes one; 'help stop' shows the conditions.")
    for line in lines:
        session.screen.show(line)


def _line(one: Stop) -> str:
    state = "armed  " if one.armed else "resting"
    hits = counted(one.hits, "hit")
    last = "" if one.last_t is None or one.last_t < 0 else f", last at T-state {one.last_t}"
    owner = "" if one.owner == "user" else f" (armed by the {one.owner})"
    return f"{one.number:>3}  {state}  {worded(one)}{owner}   {hits}{last}"


@form("stops drop NUMBER", "remove a stop")
def drop(session: Session, number: str) -> None:
    session.machine.drop_stop(int(number))


@form(
    "stops drop all",
    "remove every stop of yours",
    not_said=("stops clear", "stops remove", "stops delete", "stops none", "stops drop *"),
)
def drop_all(session: Session) -> None:
    """What the firmware has armed stays: it belongs to the board, as the sentry card's
    registers do. 'stops drop NUMBER' takes a single one away."""
    stops = session.machine.stops
    stops.clear("user")
    if len(stops):
        numbers = ", ".join(str(one.number) for one in stops)
        session.screen.show(f"What the firmware has armed stays: {numbers}.")


@form("stops rest NUMBER", "keep a stop without letting it hold the machine")
def rest(session: Session, number: str) -> None:
    session.machine.rest_stop(int(number))


@form("stops wake NUMBER", "arm a resting stop again")
def wake(session: Session, number: str) -> None:
    session.machine.wake_stop(int(number))


@form("findings", "what the board noticed that hardware would punish")
def findings(session: Session) -> None:
    """Floating reads, two chips at once, writes to ROM, reads of RAM never written,
    execution outside code, a stack that leaves its region. Counted for each place.
    On wires: outputs that fight; on serial lines framing and parity errors, breaks,
    overruns, and bits that are more than 3 % too long or too short. Those are also told once,
    as soon as the board is held or while you watch."""
    places = session.places
    found = list(session.machine.findings)
    noted = session.machine.findings.noted
    if not found and not noted:
        session.screen.show("No findings.")
    for one in found:
        where = f"port {one.address:02X}" if one.is_port else places.text(one.address)
        session.screen.show(f"{one.description} at {where}: {when(one)}")
        session.screen.show(f"    first by the instruction at {places.text(one.pc)}")
    for each in noted:
        for line in noticed(each, session.machine, session.screen.width):
            session.screen.show(line)
