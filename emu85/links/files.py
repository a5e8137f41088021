"""A pair of files: what the board is sent, and what it sends.

The input is read from its beginning at the line's own rate, and what is added to
it later is read too.  Output is appended as it comes, so that nothing that a
reader has seen changes and a full disk costs nothing: what could not be written
waits.  Named pipes may stand for either.
"""

from __future__ import annotations

import contextlib
import os
import shlex
from pathlib import Path

from emu85.errors import UserError
from emu85.links.link import Link, SerialEnd

_NONBLOCK = getattr(os, "O_NONBLOCK", 0)
_BINARY = getattr(os, "O_BINARY", 0)


class FilesLink(Link):
    """A serial end joined to a pair of files."""

    def __init__(self, end: SerialEnd, source: Path, target: Path) -> None:
        """Raise :class:`UserError` where one cannot be opened, or both are one file."""
        self._names = tuple(shlex.quote(str(path)) for path in (source, target))
        self._source = self._target = -1
        try:
            self._source = _open(source, os.O_RDONLY)
            self._target = _open(target, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
            if os.path.sameopenfile(self._source, self._target):
                raise UserError(f"{source} cannot be input and output", expected="two files")
        except UserError:
            self._shut()
            raise
        super().__init__(end)

    @property
    def about(self) -> str:
        source, target = self._names
        return f"files {source} in, {target} out"

    @property
    def is_open(self) -> bool:
        return self._target >= 0

    def _read(self, most: int) -> bytes:
        if self._source < 0:
            return b""
        try:
            return os.read(self._source, most)
        except BlockingIOError:
            return b""

    def _write(self, data: bytes) -> int:
        try:
            taken = os.write(self._target, data)
        except BlockingIOError:
            return 0
        self.trouble = ""
        return taken

    def _shut(self) -> None:
        for number in {self._source, self._target} - {-1}:
            with contextlib.suppress(OSError):
                os.close(number)
        self._source = self._target = -1


def _open(path: Path, flags: int) -> int:
    try:
        return os.open(path, flags | _NONBLOCK | _BINARY, 0o666)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise UserError(f"{path} cannot be opened: {why}", expected="a file") from None
