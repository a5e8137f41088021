"""Boards under test without pytest's fixtures."""

from __future__ import annotations

from pathlib import Path

from emu85.testing.board import PLAIN, BoardUnderTest, put_up


def board(text: str = "", *, on: str = PLAIN, at: int = 0, trace: int = 10_000) -> BoardUnderTest:
    """A board, with assembly on it."""
    made = put_up(on, None, at=None, trace=trace, folder=Path())
    if text:
        made.assemble(text, at)
    return made
