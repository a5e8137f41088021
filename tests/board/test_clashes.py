"""Chips that a board file selects together are told with their lines."""

from __future__ import annotations

import pytest

from emu85.board import describe, fit, read_board

HEAD = """name: t
crystal: 6 MHz
memory:
  - {rom: 2K, name: program, at: 0000}
"""


def ports(first: str, second: str) -> str:
    return f"ports:\n  - {{device: {first}}}\n  - {{device: {second}}}\n"


@pytest.mark.parametrize(
    ("rest", "told"),
    [
        (
            "  - {ram: 2K, name: work, at: 0700}\n",
            "b.yaml:5:5: work answers at address 0700-07FF, and so does program (line 4)",
        ),
        ("  - {ram: 2K, name: work, at: 0800}\n", ""),
        (
            ports("latch, name: a, at: 20", "lamps, name: b, at: 20"),
            "b.yaml:7:5: b is written at port 20, and so is a (line 6)",
        ),
        (ports("switches, name: a, at: 20", "lamps, name: b, at: 20"), ""),
        (
            ports("8255A, name: ppi, at: 20-23", "switches, name: in, at: 22"),
            "b.yaml:7:5: in answers at port 22, and so does ppi (line 6)",
        ),
        (
            ports("switches, name: a, at: 20, ignores: A4", "switches, name: b, at: 30"),
            "b.yaml:7:5: b answers at port 30, and so does a (line 6)",
        ),
    ],
)
def test_clashes_are_placed(rest: str, told: str) -> None:
    board = fit(read_board(HEAD + rest, "b.yaml"))
    assert board.clashes() == ([told] if told else [])
    assert told in describe(board)
    assert ("Selected together" in describe(board)) == bool(told)
