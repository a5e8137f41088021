"""Delays, and how long code takes"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.registry import form
from emu85.firmware import Image, Segment

if TYPE_CHECKING:
    from emu85.board.quantities import Length
    from emu85.console.session import Session
    from emu85.machine import Machine


@form("delay LENGTH [USE]", "code that takes so long on this board, proved")
def delay(session: Session, length: Length, use: str = "routine") -> None:
    """delay 10 ms     delay 200 T inline
    The shortest loops and padding there are, for code that stands in the board's first ROM.
    It is run on a machine of its own, so nothing happens to this one. 'emu85 delay' has more
    to choose from: registers, wait states, other places."""
    from emu85.timing.delay import Use, answer, plan
    from emu85.timing.delay.waits import BoardWaits

    board = session.machine.board
    clock, waits = board.description.clock, BoardWaits(board)
    wanted = length.t_states(clock)
    start = waits.first_rom()
    is_called = Use(use) is Use.ROUTINE
    found = plan(wanted, clock, Use(use), waits.of_code(start, 1, with_stack=is_called))
    waits.of_code(start, found.size, with_stack=is_called)
    done = answer(found, wanted, clock)
    for line in (done.source + "\n" + done.about).splitlines():
        session.screen.show(line)


@form("duration ADDRESS", "how long a routine takes, least and most")
def duration(session: Session, address: int) -> None:
    """Over all its paths, in the code as memory holds it now. Nothing is run. 'emu85 duration'
    can be told how often a loop goes round at most, and runs it to compare."""
    from emu85.board import fit
    from emu85.timing.duration.asked import follow
    from emu85.timing.duration.told import tell

    # On a board of its own, since the image is put into it.
    board = fit(session.machine.board.description.without_batteries())
    asked, result = follow(f"{address:04X}", address, _image(session.machine), board, {})
    for line in tell(asked, result).splitlines():
        session.screen.show(line)


def _image(machine: Machine) -> Image:
    """The firmware as the machine's memory holds it."""
    segments = tuple(Segment(start, machine.memory[start:end]) for start, end in machine.runs)
    return Image(segments, symbols=machine.symbols, equated=frozenset(machine.equated))
