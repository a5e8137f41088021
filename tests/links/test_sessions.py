"""Whole sessions with another process, which types and reads through the kernel."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from emu85.board.serial import Terminal
from emu85.links import KEPT, Links
from emu85.links.pty import PtyLink
from emu85.links.tcp import TcpLink
from emu85.machine import Machine
from tests.links.echo_board import ECHO, TALK, machine, serve

OTHER_END = Path(__file__).with_name("other_end.py")


def other_end(way: str, where: str, count: int, pause: float = 0.0) -> subprocess.Popen[str]:
    arguments = [sys.executable, str(OTHER_END), way, where, str(count), str(pause)]
    return subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True)


def joined(made: Machine, way: str) -> tuple[Links, PtyLink | TcpLink, str]:
    """Links with the USART joined, the link, and what the other process is told."""
    links = Links(made.board)
    link = links.join("usart", "pty" if way == "pty" else "tcp 0")
    assert isinstance(link, PtyLink | TcpLink)
    return links, link, link.path if isinstance(link, PtyLink) else str(link.port)


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_sixty_four_kilobytes_each_way(way: str) -> None:
    made = machine(ECHO)
    links, link, where = joined(made, way)
    other = other_end(way, where, 0x10000)
    serve(made, links, lambda: other.poll() is not None)
    assert other.communicate()[0].strip() == "same"
    assert link.taken == link.given == 0x10000 and not link.dropped
    links.close()


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_a_slow_reader_loses_nothing_and_the_board_goes_on(way: str) -> None:
    made = machine(ECHO)
    links, _, where = joined(made, way)
    other = other_end(way, where, 12_000, pause=0.15)
    terminal = made.board.serial_ends["usart"]
    serve(made, links, lambda: len(terminal.received) == 12_000)
    assert other.poll() is None  # the board has long done it
    serve(made, links, lambda: other.poll() is not None)
    assert other.communicate()[0].strip() == "same"
    links.close()


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_a_reader_that_is_killed_never_stops_the_board(way: str) -> None:
    made = machine(TALK)
    links, link, where = joined(made, way)
    terminal = made.board.serial_ends["usart"]
    other = other_end(way, where, 1 << 20, pause=0.01)
    serve(made, links, lambda: link.given > 1000)
    other.kill()
    other.wait()
    heard = len(terminal.received)
    serve(made, links, lambda: not link.is_open)
    serve(made, links, lambda: len(terminal.received) > heard + KEPT + 2000)
    assert link.waiting == KEPT and link.dropped > 0
    links.close()


def test_ends_of_both_kinds_can_be_joined_at_once() -> None:
    made = machine(ECHO)
    links = Links(made.board)
    assert isinstance(made.board.serial_ends["usart"], Terminal)
    assert isinstance(links.join("USART", "pty"), PtyLink)
    assert isinstance(links.join("Serial", "tcp 0"), TcpLink)
    assert [name for name, _ in links] == ["serial", "usart"][::-1]
    links.close()
    assert len(links) == 0
