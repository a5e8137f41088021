"""The end of a session, by a signal too: what is owed is done first.

SIGTERM, SIGHUP and other signals that are meant to end a program do so, but by way of
every ``finally``: battery RAM goes to its files, ends are parted, the terminal gets its
modes back.  The exit status is then 128 and the signal's number, as shells have it.

Mostly the signal raises SystemExit wherever the program is.  What must not be torn
apart like that, an event loop above all, says by :func:`left_by` how it is to be left.
"""

from __future__ import annotations

import contextlib
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType

from emu85.streams import lead_nowhere

_NAMES = ("SIGTERM", "SIGHUP", "SIGQUIT", "SIGUSR1", "SIGUSR2", "SIGALRM", "SIGXCPU")
_ENDING = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
_LEAVING = 5.0
"""Seconds after a signal within which another one adds nothing."""


_endings: list[_Ending] = []
_leaves: list[Callable[[], None]] = []


@contextlib.contextmanager
def closed_at_end(close: Callable[[], None]) -> Iterator[None]:
    """Call ``close`` after the block, also where SIGTERM or the like ends the program.

    A signal that whoever started us has told to be ignored, as ``nohup`` does, stays
    ignored.

    Raises:
        SystemExit: a signal came.
    """
    ending = _Ending()
    with ending.heeded():
        try:
            yield
        except (OSError, SystemExit):
            # After SIGHUP there may be no terminal that could get its modes back.
            if not ending.number:
                raise
        finally:
            ending.is_closing = True
            close()
    if ending.number:
        _give_up_lost_streams()
        raise SystemExit(128 + ending.number)


@contextlib.contextmanager
def left_by(leave: Callable[[], None]) -> Iterator[None]:
    """Have a signal call ``leave``, which makes the block end soon, instead of raising in it.

    Raises:
        SystemExit: a signal came; the block has been left.
    """
    _leaves.append(leave)
    try:
        yield
    finally:
        _leaves.remove(leave)
        if has_come():
            raise SystemExit(128 + _endings[-1].number)


def has_come() -> bool:
    """Whether a signal has come that ends the session."""
    return bool(_endings and _endings[-1].number)


class _Ending:
    """Makes SystemExit of signals.

    Attributes:
        number: of the signal that came; 0 for none.
        is_closing: from now on signals come too late to change anything.
    """

    def __init__(self) -> None:
        self.number = 0
        self.is_closing = False
        self._since = 0.0

    @contextlib.contextmanager
    def heeded(self) -> Iterator[None]:
        """Have signals come here; only the main thread of a program can."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        heeded = [each for each in _ENDING if signal.getsignal(each) is signal.SIG_DFL]
        for each in heeded:
            signal.signal(each, self._come)
        _endings.append(self)
        try:
            yield
        finally:
            _endings.remove(self)
            for each in heeded:
                signal.signal(each, signal.SIG_DFL)

    def _come(self, number: int, frame: FrameType | None) -> None:
        # Two at once are usual.  Where the first one's exception got lost (raised in a
        # destructor, say), a later signal ends the program all the same.
        now = time.monotonic()
        if self.is_closing or (self.number and now - self._since < _LEAVING):
            return
        is_first = not self.number
        self.number, self._since = number, now
        if _leaves and is_first:
            _leaves[-1]()
        else:
            raise SystemExit(128 + number)


def _give_up_lost_streams() -> None:
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            lead_nowhere(stream)
