"""Serial ends joined to the outside"""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console.registry import form
from emu85.console.views.noticed import noticed

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.links import Link

_INDENT = 15
"""Columns of what stands under an end."""


@form("join END pty", "join a serial end to a pseudo-terminal")
def join_pty(session: Session, end: str) -> None:
    """Another terminal program opens the path that is shown. Bytes pass while the board
    runs; what the board has sent is handed on while it is held, too."""
    _join(session, end, "pty")


@form("join END tcp WHERE", "join a serial end to a TCP port")
def join_tcp(session: Session, end: str, where: str) -> None:
    """4000 listens on the loopback address alone, 0 takes a free port, 0.0.0.0:4000
    lets other computers in. One client at a time; it may leave and come again."""
    _join(session, end, f"tcp {shlex.quote(where)}")


@form("join END files SOURCE TARGET", "join a serial end to a pair of files")
def join_files(session: Session, end: str, source: Path, target: Path) -> None:
    """The board is sent the first file; what it sends is appended to the second. What
    arrives before the firmware has set up its USART is lost, as on the bench."""
    _join(session, end, shlex.join(("files", str(source), str(target))))


def _join(session: Session, end: str, text: str) -> None:
    link = session.join(end, text)
    session.screen.show(f"{end} is joined to {link}.")


@form("joins", "the serial ends, and what they are joined to")
def joins(session: Session) -> None:
    """Counts are of bytes. Of what the board sends the newest 64 K are kept while nobody
    is there, and the newest megabyte for somebody who does not read; older ones are
    dropped. The board never waits."""
    session.attend()
    ends = session.machine.board.serial_ends
    if not ends:
        session.screen.show("The board has no serial line.")
    links = dict(session.links)
    for name, end in ends.items():
        link = links.get(name)
        where = str(link) if link else "the console" if name == session.pane.name else "nothing"
        session.screen.show(f"  {name:<12} {end.format}, joined to {where}")
        for line in [*_link_lines(link), *_wire_lines(session, name)]:
            session.screen.show(" " * _INDENT + line)


def _link_lines(link: Link | None) -> list[str]:
    if link is None:
        return []
    there = "somebody is there" if link.is_open else "nobody is there"
    counts = f"{link.taken} in, {link.given} out, {link.waiting} waiting, {link.dropped} dropped"
    return [f"{there}; {counts}" + (f"; {link.trouble}" if link.trouble else "")]


def _wire_lines(session: Session, name: str) -> list[str]:
    """What went wrong on the wire of an end."""
    width = session.screen.width - _INDENT
    found = [one for one in session.machine.findings.noted if one.where == name]
    return [line for one in found for line in noticed(one, session.machine, width)]


@form("part JOINED", "end what 'join' began")
def part(session: Session, joined: str) -> None:
    session.part(joined)
    session.screen.show(f"{joined} is parted.")
