"""The shipped firmware as it runs: delays counted in T-states, ticks, a converter."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.machine import Machine
from tests.bench.clock import multiple
from tests.bench.report import Row


def firmware() -> Iterator[Row]:
    """The tide-gauge logger waiting for a key, and while it talks."""
    board = Machine.from_board("saltmarsh")
    board.load(board.board.firmware or "")
    board.run(seconds=2)
    yield Row("saltmarsh, waiting for a character", multiple(board, 30_000_000, 5), "x")
    if board.serial is None:
        return
    board.serial.send(b"help\r")
    yield Row("saltmarsh, talking on SID and SOD", multiple(board, 3_000_000, 1), "x")
