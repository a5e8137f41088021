"""Much traffic at a terminal: files as fast as the board goes, and text pasted into the pane."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.console.test_terminal import Terminal, begin
from tests.links.echo_board import ECHO, USART

# Sends back a line feed for a carriage return, and everything else as it is.
LINES = ECHO.replace(
    "MOV A, B\n", "MOV A, B\n        CPI 13\n        JNZ SEND\n        MVI A, 10\nSEND:\n"
)


@pytest.fixture(autouse=True)
def echo_board(tmp_path: Path) -> None:
    (tmp_path / "echo.yaml").write_text(USART)


def test_sixty_four_kilobytes_each_way_through_files(
    terminals: list[Terminal], tmp_path: Path
) -> None:
    data = random.Random(1979).randbytes(0x10000)
    (tmp_path / "in").write_bytes(data)
    (tmp_path / "out").write_bytes(b"")
    join = f"usart files {tmp_path / 'in'} {tmp_path / 'out'}"
    board = str(tmp_path / "echo.yaml")
    terminal = begin(terminals, tmp_path, board, ECHO, "--join", join, "--speed", "off")
    while (tmp_path / "out").stat().st_size < len(data):
        assert terminal.read()
    terminal.type("\x03")
    terminal.wait_for("emu85>")
    terminal.type("joins\r")
    terminal.wait_for("65536 in, 65536 out, 0 waiting, 0 dropped")
    terminal.type("quit\r")
    assert terminal.ended() == 0
    assert (tmp_path / "out").read_bytes() == data


def test_text_pasted_into_the_pane(terminals: list[Terminal], tmp_path: Path) -> None:
    """It comes in the brackets that terminals put round what is pasted."""
    board = str(tmp_path / "echo.yaml")
    terminal = begin(terminals, tmp_path, board, LINES, "--speed", "off")
    terminal.wait_for("running")
    lines = [f"high water number {number:03}" for number in range(250)]
    text = "".join(f"{line}\r" for line in lines)
    pieces = [text[at : at + 1000] for at in range(0, len(text), 1000)]
    for piece in ("\x1b[200~", *pieces, "\x1b[201~"):
        terminal.type(piece)
        terminal.read()
    terminal.wait_for(lines[-1])
    terminal.type("\x03")
    terminal.wait_for("emu85>")
    assert [line for line in lines if line not in terminal.text] == []
    terminal.type("quit\r")
    assert terminal.ended() == 0
