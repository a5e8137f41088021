"""Going back in time"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from emu85.board.quantities import seconds_text
from emu85.bus.lines import Line
from emu85.console.registry import form
from emu85.console.searching import searching
from emu85.console.views import bus
from emu85.errors import UserError
from emu85.history.writes import ByHand
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("back [COUNT]", "one machine cycle back, or so many")
def back(session: Session, count: int = 1) -> None:
    """All of the board goes back: memory, chips, characters under way. From there 'step'
    and 'run' do again what was done, with what was typed and pressed at its time, until
    you do something new; then what was to come is forgotten. 'forth' returns."""
    with searching(session):
        was_enough = session.history.back_cycles(count)
    _show(session)
    _tell_of_beginning(session, was_enough)


@form("back instruction [COUNT]", "to the start of so many instructions before")
def back_instruction(session: Session, count: int = 1) -> None:
    """In the middle of an instruction that is its own start."""
    with searching(session):
        was_enough = session.history.back_instructions(count)
    _show(session)
    _tell_of_beginning(session, was_enough)


@form("back stop", "to where an armed stop would have held last")
def back_stop(session: Session) -> None:
    """A stop that counts or looks for one cycle after another counts from where it was
    armed. Before that one that counts lets as many go by on the way back, and the other
    would have held as if it had been armed since power-on."""
    stops = [stop for stop in session.machine.stops if stop.armed and stop.owner == "user"]
    if not stops:
        raise UserError("no stop is armed", expected="'stop on …' first")
    with searching(session):
        was_found = session.history.back_to_stop(stops)
    if not was_found:
        session.screen.show("No machine cycle before this one met an armed stop.")
        return
    _show(session)


@form("back to TIME", "to a moment, counted from power-on")
def back_to(session: Session, time: int) -> None:
    """back to 12 ms     back to 35000 T"""
    _check_past(session, time)
    with searching(session):
        session.history.go_to(time)
    _show(session)


@form("forth", "to the newest moment there is, from the past")
def forth(session: Session) -> None:
    if not session.history.in_past:
        session.screen.show("This is the newest moment.")
        return
    with searching(session):
        session.history.go_to(session.history.latest_t)
    _show(session)


@form("forth to TIME", "to a later moment, from the past")
def forth_to(session: Session, time: int) -> None:
    history = session.history
    if time > history.latest_t:
        raise UserError(
            f"nothing is known of {_moment(session, time)}",
            expected=f"up to T {history.latest_t}; 'run for …' goes on from there",
        )
    if time < session.machine.t:
        raise UserError(f"{_moment(session, time)} is over", expected="'back to …'")
    with searching(session):
        history.go_to(time)
    _show(session)


@form("back write ADDRESS", "to what last changed a byte")
def back_write(session: Session, address: int) -> None:
    """To just after the write that 'who ADDRESS' shows, or to where the byte was put there by
    hand or loaded. The machine cycle that has just ended does not count, nor what was put
    there at this very moment, so that each 'back write' goes further."""
    with searching(session):
        change = session.history.back_to_change(address)
    if change is None:
        session.screen.show(f"Nothing before this has changed {session.places.text(address)}.")
        return
    _show(session)
    if isinstance(change, ByHand):
        _tell_of_hand(session, change)


@form("who ADDRESS", "the write that last changed a byte")
def who(session: Session, address: int) -> None:
    """With the instruction that wrote it. Writes by way of a mirror and by DMA count as
    well, and what you put there or loaded. If a later write left the byte as it was (it
    wrote what was there, or to ROM), that is shown first. The board stays where it is;
    'back write ADDRESS' goes there."""
    with searching(session):
        _who(session, address)


def _who(session: Session, address: int) -> None:
    write, change = session.history.last_change(address)
    place = session.places.text(address)
    if write is not None:
        _show_write(session, write)
        session.screen.show("That write left the byte as it was. What changed it last:")
    if isinstance(change, ByHand):
        _tell_of_hand(session, change)
    elif change is not None:
        _show_write(session, change)
    elif write is None:
        session.screen.show(f"Nothing has been written to {place}.")
    else:
        session.screen.show("nothing since power came on.")


def _show_write(session: Session, write: np.void) -> None:
    """A write's row, after that of its instruction."""
    is_master = bool(int(write["lines"]) & Line.HLDA)
    fetch = None if is_master else session.history.instruction_before(int(write["t"]))
    records = [record for record in (fetch, write) if record is not None]
    for line in bus.header(session.screen.width):
        session.screen.show(line)
    for line in bus.rows(records, session.screen.width, session.disassembly):
        session.screen.show(line)
    if is_master:
        session.screen.show("A bus master wrote it, while the CPU was on hold.")


def _tell_of_hand(session: Session, put: ByHand) -> None:
    how = "loaded" if put.is_loaded else "put there by hand"
    session.screen.show(f"{put.value:02X} was {how} at T-state {put.t}.")


def _moment(session: Session, t: int) -> str:
    """A moment as it is counted and as it may have been typed."""
    return f"T {t} ({seconds_text(t / session.machine.board.clock)})"


def _check_past(session: Session, t: int) -> None:
    if t > session.machine.t:
        raise UserError(
            f"{_moment(session, t)} is still to come",
            expected="a moment before now, or 'forth to …'",
        )


def _tell_of_beginning(session: Session, was_enough: bool) -> None:
    if not was_enough:
        session.screen.show("This is the beginning: power has just come on.")


def _show(session: Session) -> None:
    """Where the board is now, and how far that is from the newest moment."""
    history = session.history
    session.show_bus()
    if history.in_past:
        ago = history.latest_t - session.machine.t
        session.screen.show(f"{counted(ago, 'T-state')} before the newest moment.")
