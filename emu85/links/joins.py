"""Which serial end is joined to what, and the words that say it."""

from __future__ import annotations

import shlex
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from emu85.board import Board
from emu85.errors import UserError, nearest
from emu85.links.files import FilesLink
from emu85.links.link import Link, SerialEnd
from emu85.links.pty import PtyLink
from emu85.links.tcp import LOOPBACK, TcpLink

_POLL = 0.005
"""Seconds between two looks while the last bytes are waited for."""


def _pty(end: SerialEnd, words: list[str]) -> Link:
    return PtyLink(end)


def _tcp(end: SerialEnd, words: list[str]) -> Link:
    address, _, digits = words[0].rpartition(":")
    if not (digits.isascii() and digits.isdigit() and int(digits) <= 0xFFFF):
        raise UserError(f"{words[0]!r} is no TCP port", expected="a port, 0 to 65535, decimal")
    return TcpLink(end, int(digits), address.strip("[]") or LOOPBACK)


def _files(end: SerialEnd, words: list[str]) -> Link:
    return FilesLink(end, *(Path(word).expanduser() for word in words))


WAYS: Mapping[str, tuple[str, int, Callable[[SerialEnd, list[str]], Link], str]] = {
    "pty": ("pty", 0, _pty, "a pseudo-terminal; its path is told"),
    "tcp": ("tcp PORT", 1, _tcp, "a TCP port on loopback, or at an address: tcp ADDRESS:PORT"),
    "files": ("files IN OUT", 2, _files, "a file to read and one to append to"),
}
"""Word to usage, number of words after it, what makes the link, and a line about it."""


def join(board: Board, end_name: str, text: str) -> Link:
    """Join a serial end to the outside.

    Args:
        end_name: a name in ``board.serial_ends``, in any case.
        text: ``pty``, ``tcp PORT``, ``tcp ADDRESS:PORT`` or ``files IN OUT``;
            names with blanks stand in quotes.

    Raises:
        UserError: no such end or way, or the way cannot be had.
    """
    end = board.serial_ends[end_named(board, end_name)]
    try:
        words = shlex.split(text)
    except ValueError:
        raise UserError("a quote is left open", expected="its other half") from None
    return _way(words)(end, words[1:])


def _way(words: list[str]) -> Callable[[SerialEnd, list[str]], Link]:
    usages = ", ".join(usage for usage, *_ in WAYS.values())
    word = words[0].casefold() if words else ""
    if word not in WAYS:
        raise UserError(
            f"there is no {words[0]!r} to join to" if words else "nothing to join to is named",
            expected=usages,
            nearest=nearest(word, WAYS),
        )
    usage, count, make, _ = WAYS[word]
    if len(words) - 1 != count:
        given = " ".join(words)
        raise UserError(f"{given!r} has {len(words) - 1} words after {word}", expected=usage)
    return make


def end_named(board: Board, name: str) -> str:
    """The name of a serial end as the board has it.

    Raises:
        UserError: there is none of that name.
    """
    names = {each.casefold(): each for each in board.serial_ends}
    if name.casefold() not in names:
        raise UserError(
            f"there is no serial end {name!r}" if names else "this board has no serial line",
            expected=", ".join(names.values()) or "a board with a serial line",
            nearest=nearest(name, names),
        )
    return names[name.casefold()]


class Links:
    """The links of one board, by the name of the serial end, one for each end."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._links: dict[str, Link] = {}

    def __iter__(self) -> Iterator[tuple[str, Link]]:
        return iter(list(self._links.items()))

    def __len__(self) -> int:
        return len(self._links)

    def __contains__(self, end_name: str) -> bool:
        return end_name in self._links

    def join(self, end_name: str, text: str) -> Link:
        """Join an end, as :func:`join` does.

        Raises:
            UserError: as :func:`join`; or the end is joined already.
        """
        name = end_named(self._board, end_name)
        if name in self._links:
            raise UserError(
                f"{name} is joined to {self._links[name]}", expected=f"'part {name}' first"
            )
        link = self._links[name] = join(self._board, name, text)
        return link

    def part(self, end_name: str) -> None:
        """End the link of an end.

        Raises:
            UserError: no such end, or it is not joined.
        """
        name = end_named(self._board, end_name)
        if name not in self._links:
            raise UserError(f"{name} is not joined", expected="a joined end; 'joins' lists them")
        self._links.pop(name).close()

    def pump(self, *, takes: bool = True) -> None:
        """Move what can be moved now, towards the board only if ``takes``; never waits."""
        for link in self._links.values():
            link.pump(takes=takes)

    def drain(self, seconds: float) -> None:
        """Pump until readers have taken everything, for ``seconds`` at most."""
        end = time.monotonic() + seconds
        self.pump()
        while time.monotonic() < end and not self._are_settled():
            time.sleep(_POLL)
            self.pump()

    def _are_settled(self) -> bool:
        return all(link.is_settled for link in self._links.values())

    def close(self) -> None:
        """Part every end."""
        for name in list(self._links):
            self._links.pop(name).close()
