"""The program at a pseudo-terminal of some size, and what a person would see there.

The screen is put together by pyte, a terminal emulator of general use that knows
nothing of us.
"""

from __future__ import annotations

import contextlib
import os
import resource
import select
import signal
import sys
import termios
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pyte

SIZES = ((80, 24), (140, 45))
"""Columns and rows of the screens that are looked at."""
_PATIENCE = 30.0


class Screened:
    """A child process, and its screen.

    Attributes:
        raw: everything it has written.
        before: the terminal's modes before it was started.
    """

    def __init__(
        self,
        command: Sequence[str],
        columns: int,
        rows: int,
        state: Path,
        folder: Path | None = None,
        *,
        term: str = "xterm",
    ) -> None:
        """Start it: what Python is given, the size, where its state goes, its folder."""
        import pty

        self.columns, self.rows = columns, rows
        self.screen = pyte.HistoryScreen(columns, rows, history=5000)
        self._stream = pyte.ByteStream(self.screen)
        self.raw = b""
        master, slave = pty.openpty()
        termios.tcsetwinsize(slave, (rows, columns))
        self.before = termios.tcgetattr(slave)
        self.pid = os.fork()
        if self.pid == 0:  # the child
            os.close(master)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            os.login_tty(slave)
            os.environ.update(
                TERM=term,
                PROMPT_TOOLKIT_NO_CPR="1",
                XDG_STATE_HOME=str(state),
                PYTHONPATH=os.pathsep.join(filter(None, sys.path)),
            )
            for name in ("COLUMNS", "LINES"):
                os.environ.pop(name, None)
            if folder:
                os.chdir(folder)
            os.execv(sys.executable, [sys.executable, *command])
        self.master, self._slave = master, slave

    def type(self, text: str) -> None:
        """Press keys."""
        os.write(self.master, text.encode())

    def click(self, text: str) -> None:
        """Press and let go of the first mouse button at the first place of a text."""
        for row, line in enumerate(self.lines()):
            column = line.find(text)
            if column >= 0:
                at = f"{column + 1};{row + 1}"
                self.type(f"\x1b[<0;{at}M\x1b[<0;{at}m")
                return
        raise AssertionError(f"no {text!r} on the screen:\n{self}")

    def resize(self, columns: int, rows: int) -> None:
        """Give the terminal another size."""
        self.columns, self.rows = columns, rows
        self.screen.resize(rows, columns)
        termios.tcsetwinsize(self.master, (rows, columns))
        os.kill(self.pid, signal.SIGWINCH)

    def lines(self) -> list[str]:
        """What stands on the screen, blanks at the ends of lines left out."""
        return [line.rstrip() for line in self.screen.display]

    def __str__(self) -> str:
        return "\n".join(self.lines())

    def read(self, seconds: float = 0.2) -> bool:
        """Take what has come; False when the child has gone."""
        if not select.select([self.master], [], [], seconds)[0]:
            return not self._is_gone()
        with contextlib.suppress(OSError):
            data = os.read(self.master, 65536)
            self.raw += data
            self._stream.feed(data)
        return True

    def wait_until(self, seen: Callable[[str], bool], what: str) -> str:
        """Wait for a screen that meets a condition; the screen."""
        end = time.monotonic() + _PATIENCE
        while not seen(str(self)):
            assert time.monotonic() < end, f"no {what} on the screen:\n{self}"
            assert self.read(), f"the program ended before {what}:\n{self}"
        return str(self)

    def wait_for(self, text: str) -> str:
        """Wait for a text to be on the screen; the screen."""
        return self.wait_until(lambda shown: text in shown, repr(text))

    def ended(self) -> int:
        """Wait for the end; the exit status."""
        end = time.monotonic() + _PATIENCE
        while self.read():
            assert time.monotonic() < end, f"still running:\n{self}"
        self.take(0)
        return self._status

    def take(self, seconds: float = 0.1) -> None:
        """Take what comes until so long nothing does, also when the child has gone."""
        while select.select([self.master], [], [], seconds)[0]:
            self.read(0)

    def modes(self) -> list[object]:
        """The terminal's modes now."""
        return termios.tcgetattr(self._slave)

    def children(self) -> list[int]:
        """Processes that the child has started."""
        found = []
        for stat in Path("/proc").glob("[0-9]*/stat"):
            with contextlib.suppress(OSError):
                if int(stat.read_text().rpartition(")")[2].split()[1]) == self.pid:
                    found.append(int(stat.parent.name))
        return found

    def close(self) -> None:
        """End the child if it still runs."""
        with contextlib.suppress(OSError):
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)
        for number in (self.master, self._slave):
            with contextlib.suppress(OSError):
                os.close(number)

    def _is_gone(self) -> bool:
        pid, status = os.waitpid(self.pid, os.WNOHANG)
        if pid:
            self._status = os.waitstatus_to_exitcode(status)
        return bool(pid)
