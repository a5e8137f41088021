"""Console lines through a pipe, and what is attended to while they are waited for."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import pytest

from emu85.console.piped import piped_lines
from tests.links.echo_board import ECHO, USART


@pytest.fixture
def pipe() -> Iterator[tuple[TextIO, int]]:
    reads, writes = os.pipe()
    with os.fdopen(reads, encoding="utf-8") as stream:
        yield stream, writes


@pytest.mark.parametrize(
    ("written", "lines"),
    [
        (b"", []),
        (b"step\nregs\n", ["step", "regs"]),
        (b"step\r\nregs", ["step", "regs"]),
        (b"step\rregs\r", ["step", "regs"]),
        (b"\n\nstep\n", ["", "", "step"]),
        (b"\xef\xbb\xbftype \xc3\xa4\n", ["type \u00e4"]),
        (b"type \xe4\n", ["type \ufffd"]),
        (b"step", ["step"]),
    ],
)
@pytest.mark.parametrize("piece", [1, 100])
def test_lines_of_all_kinds(
    pipe: tuple[TextIO, int], written: bytes, lines: list[str], piece: int
) -> None:
    stream, writes = pipe
    left = bytearray(written)

    def attend() -> float:
        """The writer takes his time."""
        os.write(writes, bytes(left[:piece]))
        if not left:
            os.close(writes)
        del left[:piece]
        return 0

    assert list(piped_lines(stream, attend)) == lines


def test_nothing_is_attended_to_while_there_are_lines(pipe: tuple[TextIO, int]) -> None:
    stream, writes = pipe
    os.write(writes, b"a\nb\n")
    os.close(writes)

    def attend() -> float:
        raise AssertionError("a line is there")

    assert list(piped_lines(stream, attend)) == ["a", "b"]


def begin(folder: Path, stdin: int, *more: str) -> subprocess.Popen[str]:
    (folder / "echo.yaml").write_text(USART)
    (folder / "echo.asm").write_text(ECHO)
    command = [sys.executable, "-m", "emu85", "run", "--board", str(folder / "echo.yaml")]
    return subprocess.Popen(
        [*command, str(folder / "echo.asm"), "--join", "usart tcp 0", *more],
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def client(process: subprocess.Popen[str]) -> socket.socket:
    assert process.stdout
    port = re.search(r"TCP port (\d+)", process.stdout.readline())
    assert port
    made = socket.create_connection(("127.0.0.1", int(port[1])))
    made.settimeout(30)
    return made


def test_links_are_served_while_a_line_is_waited_for(tmp_path: Path) -> None:
    process = begin(tmp_path, subprocess.PIPE)
    assert process.stdin and process.stdout
    process.stdin.write("run for 1 ms\n")
    process.stdin.flush()
    other = client(process)
    with other:
        while "code " not in process.stdout.readline():
            pass
        other.sendall(b"neap tide")
        process.stdin.write("joins\n")
        process.stdin.flush()
        while "9 in" not in process.stdout.readline():  # taken though the board is held
            process.stdin.write("joins\n")
            process.stdin.flush()
        process.stdin.write("run for 20 ms\n")  # ends; the answer comes while the next is due
        process.stdin.flush()
        got = b""
        while len(got) < 9:
            got += other.recv(100)
        assert got == b"neap tide"
    process.communicate("quit\n", timeout=30)
    assert process.returncode == 0


@pytest.mark.skipif(sys.platform == "win32", reason="has no such signal")
def test_without_lines_the_board_runs_for_what_is_joined(tmp_path: Path) -> None:
    process = begin(tmp_path, subprocess.DEVNULL)
    with client(process) as other:
        other.sendall(b"e")
        assert other.recv(1) == b"e"
    process.send_signal(signal.SIGTERM)
    _, told = process.communicate(timeout=30)
    assert process.returncode == 128 + signal.SIGTERM
    assert told == (
        "note: standard input has no console lines, so the board runs for what is joined; "
        "Ctrl-C or SIGTERM ends it\n"
    )
