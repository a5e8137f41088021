"""SIGTERM and SIGHUP, wherever a session is: battery RAM is kept, the terminal restored."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import termios
from collections.abc import Iterator
from pathlib import Path

import pytest

from emu85.console.endings import closed_at_end
from tests.console.test_terminal import Terminal, begin

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="has no such signals")

BOARD = """
name: kept
crystal: 6.144 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, name: kept, at: 8000, battery: kept.ram}
serial: {baud: 1200, format: 8N1}
"""
# The two bytes differ by one at most, and by none in a whole turn.
COUNTER = """
        ORG 0
        LXI H, 8000H
        MVI A, 5AH
        STA 8002H
MORE:   INR M
        INX H
        INR M
        DCX H
        JMP MORE
"""


@pytest.fixture
def board(tmp_path: Path) -> str:
    (tmp_path / "kept.yaml").write_text(BOARD)
    (tmp_path / "program.asm").write_text(COUNTER)
    return str(tmp_path / "kept.yaml")


def assert_kept(folder: Path) -> None:
    data = (folder / "kept.ram").read_bytes()
    assert (len(data), data[2]) == (1024, 0x5A)
    assert (data[0] - data[1]) % 256 in (0, 1)
    assert not [path for path in folder.iterdir() if path.name.startswith(".kept")]


# --- without a terminal --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "lines", "is_script"),
    [
        (signal.SIGTERM, "run for 1 ms\nmem 8000 1\n", False),  # the next line is waited for
        (signal.SIGHUP, "run for 1 ms\nmem 8000 1\nrun for 10000 s\n", True),
    ],
)
def test_without_a_terminal(
    tmp_path: Path, board: str, number: int, lines: str, is_script: bool
) -> None:
    command = [sys.executable, "-m", "emu85", "run", "--board", board]
    command.append(str(tmp_path / "program.asm"))
    if is_script:
        (tmp_path / "lines.do").write_text(lines)
        command += ["--do", str(tmp_path / "lines.do")]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdin and process.stdout
    if not is_script:
        process.stdin.write(lines)
        process.stdin.flush()
    while "8000  " not in (line := process.stdout.readline()):
        assert line, "the program has ended"
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(0.1)  # so that it is most likely at what follows; any place must do
    process.send_signal(number)
    _, errors = process.communicate(timeout=30)
    assert (process.returncode, errors) == (128 + number, "")
    assert_kept(tmp_path)


# --- at a terminal -------------------------------------------------------------------------


@pytest.fixture
def terminals() -> Iterator[list[Terminal]]:
    made: list[Terminal] = []
    yield made
    for terminal in made:
        with contextlib.suppress(OSError):
            os.close(terminal.master)


def come_to(place: str, terminals: list[Terminal], folder: Path, board: str) -> Terminal:
    """A console whose board has stored something."""
    terminal = begin(terminals, folder, board, COUNTER, "--held", "--join", "serial tcp 0")
    terminal.wait_for("emu85>")
    terminal.type("run for 1 ms\r")
    terminal.wait_for("code ")
    terminal.wait_for("emu85>")
    if place == "running":
        terminal.type("run\r")
        terminal.wait_for("running")
    return terminal


def test_at_a_terminal(terminals: list[Terminal], tmp_path: Path, board: str) -> None:
    terminal = come_to("running", terminals, tmp_path, board)
    os.kill(terminal.pid, signal.SIGTERM)
    assert terminal.ended() == 128 + signal.SIGTERM
    assert termios.tcgetattr(terminal.master) == terminal.before
    assert "Traceback" not in terminal.text
    assert_kept(tmp_path)


@pytest.mark.parametrize("place", ["running", "at the prompt"])
def test_a_terminal_that_is_closed(
    terminals: list[Terminal], tmp_path: Path, board: str, place: str
) -> None:
    """The kernel sends SIGHUP, and nothing more can be written."""
    terminal = come_to(place, terminals, tmp_path, board)
    os.close(terminal.master)
    status = os.waitstatus_to_exitcode(os.waitpid(terminal.pid, 0)[1])
    assert status == 128 + signal.SIGHUP
    assert_kept(tmp_path)


# --- the rule itself -----------------------------------------------------------------------


def test_what_comes_while_closing_disturbs_nothing() -> None:
    done: list[str] = []

    def close() -> None:
        os.kill(os.getpid(), signal.SIGTERM)
        done.append("closed")

    with closed_at_end(close):
        pass
    assert done == ["closed"]
    with pytest.raises(SystemExit) as caught, closed_at_end(close):
        os.kill(os.getpid(), signal.SIGHUP)
        done.append("not reached")
    assert caught.value.code == 128 + signal.SIGHUP
    assert done == ["closed", "closed"]
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_what_is_to_be_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with closed_at_end(lambda: None):
            os.kill(os.getpid(), signal.SIGHUP)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_failures_of_other_kinds_are_no_end() -> None:
    closed: list[int] = []
    for failure in (OSError("gone"), SystemExit(3), KeyboardInterrupt()):
        with pytest.raises(type(failure)), closed_at_end(lambda: closed.append(1)):
            raise failure
    assert len(closed) == 3
