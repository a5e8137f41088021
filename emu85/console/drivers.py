"""Who lets a motion pass and serves what happens meanwhile; this one needs no terminal."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

from emu85.console.motion import Motion
from emu85.machine import Held


class Driver(Protocol):
    """Drives motions to their end.

    Attributes:
        has_keyboard: whether keys typed can go to the board's serial line.
    """

    has_keyboard: bool

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        """Let ``motion`` pass until it ends; Ctrl-C holds the machine."""


class PlainDriver:
    """Lets a motion pass in the calling thread; an interrupt signal holds the machine."""

    has_keyboard = False

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        with interrupt_holds(motion):
            while True:
                held = motion.advance()
                if held is not None:
                    return held
                _sleep(motion.wait())


@contextmanager
def interrupt_holds(motion: Motion) -> Iterator[None]:
    """Have Ctrl-C hold the motion instead of ending the program."""
    with on_interrupt(motion.hold):
        yield


@contextmanager
def interrupts_ignored() -> Iterator[None]:
    """Have Ctrl-C do nothing where no motion is passing."""
    with on_interrupt(lambda: None):
        yield


@contextmanager
def on_interrupt(action: Callable[[], None]) -> Iterator[None]:
    """Have Ctrl-C, or SIGINT from elsewhere, call ``action``; only in the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def on_signal(number: int, frame: FrameType | None) -> None:
        action()

    before = signal.signal(signal.SIGINT, on_signal)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _sleep(seconds: float) -> None:
    if seconds > 0:
        time.sleep(seconds)
