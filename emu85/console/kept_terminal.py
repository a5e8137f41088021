"""The terminal gets its state back, also where the program is killed or crashes.

What ends the program by way of Python restores the terminal on the way out.  Against
SIGKILL, or a fault in compiled code, a small process watches
(:mod:`emu85.console.keeper_process`).  It stands in a session of its own, so that it takes no
key, no signal of the terminal and no place in its foreground.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

_KEEPER = Path(__file__).with_name("keeper_process.py")
_PATIENCE = 1.0
"""Seconds that the watching process has to end."""

_kept: list[subprocess.Popen[bytes]] = []


@contextlib.contextmanager
def terminal_kept() -> Iterator[None]:
    """Have the terminal of standard output watched over meanwhile.

    Where that cannot be had, the block goes on without.
    """
    keeper = _started()
    if keeper is None:
        yield
        return
    _kept.append(keeper)
    try:
        yield
    finally:
        _kept.remove(keeper)
        _end(keeper)


@contextlib.contextmanager
def screen_filled() -> Iterator[None]:
    """Meanwhile the program fills the screen."""
    from emu85.console.keeper_process import FULL, LINES

    _tell(FULL)
    try:
        yield
    finally:
        _tell(LINES)


def _started() -> subprocess.Popen[bytes] | None:
    try:
        import termios
    except ImportError:  # a system without such terminals
        return None
    from emu85.console.keeper_process import modes_text

    if not sys.executable or not _KEEPER.exists():
        return None
    try:
        modes = termios.tcgetattr(sys.stdout.fileno())
        keeper = subprocess.Popen(
            [sys.executable, "-I", "-S", str(_KEEPER)],
            stdin=subprocess.PIPE,
            stdout=sys.stdout.fileno(),
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            bufsize=0,
        )
    except (OSError, termios.error):
        return None
    _write(keeper, modes_text(modes).encode())
    return keeper


def _tell(word: bytes) -> None:
    if _kept:
        _write(_kept[-1], word)


def _end(keeper: subprocess.Popen[bytes]) -> None:
    from emu85.console.keeper_process import LEFT

    _write(keeper, LEFT)
    assert keeper.stdin
    keeper.stdin.close()
    try:
        keeper.wait(_PATIENCE)
    except subprocess.TimeoutExpired:
        keeper.kill()
        keeper.wait()


def _write(keeper: subprocess.Popen[bytes], text: bytes) -> None:
    assert keeper.stdin
    with contextlib.suppress(OSError):  # somebody has ended it
        keeper.stdin.write(text)
