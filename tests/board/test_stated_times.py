"""Times and delays that a board file states."""

from __future__ import annotations

from fractions import Fraction

import pytest

from emu85.board import load_board, read_board

NS = Fraction(1, 10**9)
BOARD = """\
name: stated
crystal: 6.144 MHz
cpu: 8085ah-2
delays: {latch: 18 ns, decoder: 0.022 us}
memory:
  - {chip: 2716, at: 0000, times: {access: 450 ns, float: 100 ns}}
  - {chip: 6116, at: 8000, times: {write-pulse: 120 ns}}
  - {rom: 2K, at: 1000}
ports:
  - {device: lamps, at: 40, times: {data-hold: 30 ns}}
  - {device: 8155, at: 10, memory-at: 6000, times: {output: 170 ns}}
"""


def test_they_are_read_as_seconds() -> None:
    board = read_board(BOARD, "stated.yaml")
    assert board.cpu == "8085AH-2"
    assert board.delays == {"latch": 18 * NS, "decoder": 22 * NS}
    assert [chip.times for chip in board.memory] == [
        {"access": 450 * NS, "float": 100 * NS},
        {"write-pulse": 120 * NS},
        {},
        {"output": 170 * NS},
    ]
    assert [use.times for use in board.devices] == [{"data-hold": 30 * NS}, {"output": 170 * NS}]


def test_a_board_that_states_none_is_an_8085ah() -> None:
    board = read_board("name: a\ncrystal: 4 MHz\nmemory:\n  - {rom: 2K, at: 0}\n", "plain.yaml")
    assert (board.cpu, board.delays) == ("8085AH", {})


@pytest.mark.parametrize("name", ["slate", "saltmarsh", "gantry"])
def test_demo_boards_state_the_times_of_their_memory(name: str) -> None:
    chips = [chip for chip in load_board(name).memory if chip.part.number != "8755"]
    assert chips and all(chip.times for chip in chips)
