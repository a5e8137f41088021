"""A session at a board for tests, with a plain screen that remembers."""

from __future__ import annotations

import io
from pathlib import Path

from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.machine import Machine


class Bench:
    """A session and what it has shown."""

    def __init__(self, board: str, source: str, folder: Path, *, trace: int = 100_000) -> None:
        file = folder / "program.asm"
        file.write_text(source)
        self.out = io.StringIO()
        self.machine = Machine.from_board(board, trace=trace)
        self.session = Session(self.machine, PlainScreen(self.out, width=80))
        self.machine.load(file)

    def do(self, *lines: str) -> str:
        """Execute lines; what they showed."""
        begin = len(self.out.getvalue())
        for line in lines:
            self.session.execute(line)
        return self.out.getvalue()[begin:]
