"""A pseudo-terminal: any terminal program opens the path and talks to the board.

Our own descriptor of the terminal's side is closed again at once, because then
the kernel tells (``POLLHUP``) whether anybody has it open.  It is set to raw
mode first, so that nothing is echoed or translated before the other program
sets modes of its own.
"""

from __future__ import annotations

import array
import contextlib
import errno
import os
import select

from emu85.errors import UserError
from emu85.links.link import Link, SerialEnd


class PtyLink(Link):
    """A serial end joined to a pseudo-terminal.

    Attributes:
        path: what the other program opens.
    """

    def __init__(self, end: SerialEnd) -> None:
        """Raise :class:`UserError` where there are no pseudo-terminals."""
        self._master, self.path = _open()
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)
        super().__init__(end)

    @property
    def about(self) -> str:
        return f"pseudo-terminal {self.path}"

    @property
    def is_open(self) -> bool:
        return self._master >= 0 and not self._events() & select.POLLHUP

    @property
    def is_settled(self) -> bool:
        # The kernel throws away what has not been read when the master is closed.
        return not self.is_open or not (self.waiting or self._unread())

    def _unread(self) -> int:
        """Bytes that the other program has not read yet."""
        import fcntl  # not on every system, nor is a link of this kind
        import termios

        try:
            other = os.open(self.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:
            return 0
        try:
            count = array.array("i", [0])
            fcntl.ioctl(other, termios.FIONREAD, count)
            return count[0]
        finally:
            os.close(other)

    def _events(self) -> int:
        return sum(events for _, events in self._poll.poll(0))

    def _read(self, most: int) -> bytes:
        # Bytes written before the other side closed are still there to be read.
        if self._master < 0 or not self._events() & select.POLLIN:
            return b""
        try:
            return os.read(self._master, most)
        except OSError as error:
            if error.errno in (errno.EIO, errno.EAGAIN):
                return b""
            raise

    def _write(self, data: bytes) -> int:
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0
        except OSError as error:
            if error.errno == errno.EIO:  # closed between the look and the write
                return 0
            raise

    def _shut(self) -> None:
        if self._master >= 0:
            self._poll.unregister(self._master)
            with contextlib.suppress(OSError):
                os.close(self._master)
            self._master = -1


def _open() -> tuple[int, str]:
    try:
        import tty

        master, other = os.openpty()
    except (ImportError, AttributeError, OSError) as error:
        raise UserError(
            f"no pseudo-terminal can be had here ({error})", expected="tcp or files"
        ) from None
    path = os.ttyname(other)
    tty.setraw(other)
    os.close(other)
    os.set_blocking(master, False)
    return master, path
