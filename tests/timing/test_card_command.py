"""``emu85 card``."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.cli import main

BOARD = """
name: pier
crystal: 5 MHz
cpu: 8085AH-2
stack: C040-C0FF
memory:
  - {rom: 2K, name: program, at: 0000-07FF, waits: 1}
  - {ram: 256, name: work, at: C000-C0FF, waits: 3}
ports:
  - {device: lamps, name: lamps, at: 30, waits: 2}
"""


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["card", *words]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["card", *words]) == 2
    out, told = capsys.readouterr()
    assert not out
    return told


def test_a_card_by_words_by_one_word_and_by_opcode(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, "MOV M,A")
    assert "Why 7 T-states" in text
    assert shown(capsys, "mov", "m,a") == text
    assert shown(capsys, "77") == text


def test_wait_states_are_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert "and 2 of wait states: 9" in shown(capsys, "MOV M,A", "--waits", "1")
    text = shown(capsys, "IN", "--waits", "of=1, IOR 3")
    assert "and 4 of wait states: 14" in text


def test_a_board_gives_crystal_part_and_wait_states(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: PUSH has one wait state in its fetch and three in each of its two writes."""
    board = tmp_path / "pier.yaml"
    board.write_text(BOARD)
    text = shown(capsys, "PUSH B", "--board", str(board))
    assert "and 7 of wait states: 19" in text
    assert "Time at 5 MHz, a T-state being 400 ns" in text
    assert "wait states as pier has them" in text
    assert "8085AH-2:" in text
    # OUT: 1 + 1 in program memory, 2 at the port; LDA of the program memory itself: 4 x 1.
    assert "and 4 of wait states: 14" in shown(capsys, "OUT 30", "--board", str(board))
    assert "and 2 of wait states: 12" in shown(capsys, "OUT 31", "--board", str(board))
    assert "and 4 of wait states: 17" in shown(capsys, "LDA 0000", "--board", str(board))
    assert "and 6 of wait states: 19" in shown(capsys, "LDA C000", "--board", str(board))
    slower = shown(capsys, "PUSH B", "--board", str(board), "--crystal", "4 MHz")
    assert "Time at 4 MHz" in slower


@pytest.mark.parametrize("board", ["slate", "saltmarsh", "gantry"])
def test_demo_boards_have_cards(board: str, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("MOV M,A", "PUSH B", "OUT", "JMP", "LDA", "TRAP", "HALT"):
        assert f"{name}" in shown(capsys, name, "--board", board)


def test_all_cards_go_into_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "cards.html"
    assert "cards.html: " in shown(capsys, "--all", "--html", str(page))
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert list(tmp_path.iterdir()) == [page]


def test_one_card_goes_into_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "card.html"
    shown(capsys, "rst 7.5", "--html", str(page))
    assert "RST 7.5" in page.read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no instruction is named"),
        (["MVO A,B"], "did you mean 'MOV A,B'"),
        (["--all"], "expected --all --html FILE"),
        (["nop", "--all", "--html", "x"], "one card and all of them at once"),
        (["nop", "--waits", "256"], "256 wait states are too many"),
        (["nop", "--waits", "9" * 5000], "are too many"),
        (["nop", "--waits", "OF 1, OF 2"], "OF has its wait states already"),
        (["nop", "--waits", "often"], "'often' says no wait states"),
        (["nop", "--waits", "BI 1"], "'BI' is no cycle that a board can stretch"),
        (["nop", "--waits", "IORR 1"], "did you mean 'IOR'"),
        (["nop", "--waits", "1", "--board", "slate"], "the board has its own wait states"),
        (["nop", "--crystal", "6"], "'6' is not a frequency"),
        (["nop", "--crystal", "1 Hz"], "1 Hz is out of range"),
        (["nop", "--part", "8085AH-3"], "did you mean '8085AH-2'"),
        (["nop", "--board", "slat"], "did you mean 'slate'"),
        (["nop", "--html", "-"], "nothing is printed by the name -"),
        (["nop", "--html", "no/such/folder/x.html"], "cannot be written"),
    ],
)
def test_what_cannot_be_taken(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told in refused(capsys, *words)
