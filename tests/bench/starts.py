"""How long the program takes to come to a prompt, in processes of its own."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping

from tests.bench.report import Row

_COMMAND = (sys.executable, "-m", "emu85", "run", "--board", "saltmarsh")
_PATIENCE = 60.0
_GREETING = b"Ctrl-C holds the board"
_PROMPT = b"emu85>"


def first_start() -> Iterator[Row]:
    """With nothing compiled yet."""
    with tempfile.TemporaryDirectory() as cache:
        begin = time.perf_counter()
        done = _plain({"EMU85_CACHE": cache})
        seconds = time.perf_counter() - begin
    said = "said so" if b"First start" in done.stderr else "said NOTHING"
    yield Row("first start, with compilation", seconds, "s", 15, True, said)


def later_start() -> Iterator[Row]:
    """With the core compiled."""
    _plain({})
    plain = []
    for _ in range(3):
        begin = time.perf_counter()
        _plain({})
        plain.append(time.perf_counter() - begin)
    yield Row("later start, through a pipe, to its end", min(plain), "s", 1, True)
    if sys.platform == "win32":
        return
    greeted = min(_at_terminal(_GREETING) for _ in range(3))
    yield Row("later start, to a running board", greeted, "s", 1, True)
    prompted = min(_at_terminal(_PROMPT, "--held") for _ in range(3))
    yield Row("later start, to a live prompt", prompted, "s", 1, True)


def _plain(environment: Mapping[str, str]) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        _COMMAND,
        input=b"quit\n",
        capture_output=True,
        check=True,
        env={**os.environ, **environment},
    )


def _at_terminal(awaited: bytes, *more: str) -> float:
    """Seconds until the program, at a terminal, has shown ``awaited``."""
    import pty

    begin = time.perf_counter()
    child, master = pty.fork()
    if child == 0:
        os.environ.update(TERM="xterm", PROMPT_TOOLKIT_NO_CPR="1")
        os.execv(sys.executable, [*_COMMAND, *more])
    try:
        return _until(awaited, master) - begin
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(master)


def _until(awaited: bytes, master: int) -> float:
    """The moment at which ``awaited`` has come."""
    text = b""
    end = time.perf_counter() + _PATIENCE
    while time.perf_counter() < end:
        if select.select([master], [], [], 0.5)[0]:
            text += os.read(master, 65536)
        if awaited in text:
            return time.perf_counter()
    raise RuntimeError(f"{awaited!r} did not come in {_PATIENCE:.0f} s: {text[-400:]!r}")
