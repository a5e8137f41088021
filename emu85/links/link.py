"""What every link has: the backlog, back-pressure, counts."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Protocol

MOST_QUEUED = 4096
"""Characters that may wait at a serial end before a link takes no more from outside."""
KEPT = 0x10000
"""Bytes from the board that are kept while nobody is there to read them."""
MOST_WAITING = 0x100000
"""Bytes from the board that are kept for somebody who is there and does not read."""
_AT_ONCE = 0x10000


class SerialEnd(Protocol):
    """The far end of a serial wire of the board.

    Attributes:
        listeners: each is called with every good character from the board.
    """

    listeners: list[Callable[[int], None]]

    @property
    def pending(self) -> int:
        """Characters queued towards the board and not yet begun."""

    def send(self, data: bytes) -> None:
        """Queue characters towards the board."""


class Link(ABC):
    """A serial end joined to something outside.

    A character that arrives faulty (framing or parity) is not passed on; the end
    counts it.

    Attributes:
        end: the serial end.
        took: is told of the bytes that come from outside, before the board is sent them.
        taken: bytes that came from outside.
        given: bytes that went outside.
        dropped: bytes given up, the oldest of too many that nobody had taken.
        trouble: the last thing that went wrong, in words; empty if nothing did.
    """

    def __init__(self, end: SerialEnd) -> None:
        self.end = end
        self.took: Callable[[bytes], None] = lambda data: None
        self.taken = self.given = self.dropped = 0
        self.trouble = ""
        self._backlog = bytearray()
        end.listeners.append(self._hear)

    def __str__(self) -> str:
        return self.about

    @property
    @abstractmethod
    def about(self) -> str:
        """What it is joined to, for people."""

    @property
    @abstractmethod
    def is_open(self) -> bool:
        """Whether somebody is there."""

    @property
    def waiting(self) -> int:
        """Bytes from the board that nobody has taken yet."""
        return len(self._backlog)

    @property
    def is_settled(self) -> bool:
        """Whether closing now would lose nothing that somebody is there to read."""
        return not (self.waiting and self.is_open)

    def pump(self, *, takes: bool = True) -> None:
        """Move what can be moved now; never waits and never raises OSError.

        Args:
            takes: towards the board too.
        """
        try:
            if takes:
                self._take()
            self._give()
        except OSError as error:
            self.trouble = str(error.strerror or error)

    def close(self) -> None:
        """Leave the serial end and give everything back; may be called twice."""
        if self._hear in self.end.listeners:
            self.end.listeners.remove(self._hear)
        self._shut()

    def _hear(self, byte: int) -> None:
        self._backlog.append(byte)
        self._keep_newest(MOST_WAITING)  # here too: a long step is one slice

    def _keep_newest(self, most: int) -> None:
        too_many = len(self._backlog) - most
        if too_many > 0:
            del self._backlog[:too_many]
            self.dropped += too_many

    def _take(self) -> None:
        room = MOST_QUEUED - self.end.pending
        data = self._read(room) if room > 0 else b""
        if data:
            self.taken += len(data)
            self.took(data)
            self.end.send(data)

    def _give(self) -> None:
        while self._backlog and self.is_open:
            taken = self._write(bytes(self._backlog[:_AT_ONCE]))
            if not taken:
                return
            del self._backlog[:taken]
            self.given += taken
        if not self.is_open:
            self._keep_newest(KEPT)

    @abstractmethod
    def _read(self, most: int) -> bytes:
        """Up to ``most`` bytes that are there now; empty if there are none."""

    @abstractmethod
    def _write(self, data: bytes) -> int:
        """Give bytes to the outside; how many it took, 0 if it has no room now."""

    @abstractmethod
    def _shut(self) -> None:
        """Close descriptors."""
