"""Going through the board's past may take a while: it says so, and Ctrl-C breaks it off."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from emu85.console.drivers import on_interrupt
from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.console.session import Session

_SILENT = 0.5
"""Seconds after which somebody at a keyboard is told."""


@contextmanager
def searching(session: Session) -> Iterator[None]:
    """Let Ctrl-C end what the block does in the past; the board is then where it was.

    Raises:
        UserError: it was ended so.
    """
    history, here = session.history, session.machine.t
    watcher = _Watcher(session)
    history.attend = watcher.look
    with on_interrupt(watcher.ask):
        try:
            yield
        except _BrokenOff:
            history.attend = None
            history.go_to(here)
            raise UserError("broken off; the board is where it was") from None
        finally:
            history.attend = None


class _BrokenOff(Exception):
    pass


class _Watcher:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._began = time.monotonic()
        self._is_asked = False
        self._has_told = not session.driver.has_keyboard

    def ask(self) -> None:
        """From a signal handler."""
        self._is_asked = True

    def look(self) -> None:
        """Between two pieces of work."""
        if self._is_asked:
            raise _BrokenOff
        if not self._has_told and time.monotonic() - self._began > _SILENT:
            self._has_told = True
            self._session.screen.show("Going through the past; Ctrl-C breaks it off.")
