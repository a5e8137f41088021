"""Chips that a board file selects together: refused where they would fight, else told."""

from __future__ import annotations

import pytest

from emu85.board import describe, fit, read_board
from emu85.errors import UserError, UserErrors

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
            ports("8255A, name: ppi, at: 20-23, shared: yes", "switches, name: in, at: 22"),
            "b.yaml:7:5: in answers at port 22, and so does ppi (line 6)",
        ),
        (
            "ports:\n  - {device: 8155, at: 20-27, memory-at: 0400-04FF}\n",
            "b.yaml:6:5: 8155 RAM answers at address 0400-04FF, and so does program (line 4)",
        ),
        (
            "  - {device: converter, name: in, at: 0100, values: [00]}\n",
            "b.yaml:5:5: in answers at address 0100-0101, and so does program (line 4)",
        ),
        (
            ports(
                "switches, name: a, at: 20-21, ignores: A4",
                "switches, name: b, at: 00-01, ignores: A4-A5",
            ),
            "b.yaml:7:5: b answers at port 20-21, 30-31, and so does a (line 6)",
        ),
        # The control register of an 8255A takes writes and gives nothing.
        (ports("8255A, name: ppi, at: 20-23", "switches, name: in, at: 23"), ""),
        (
            ports("switches, name: a, at: 20, ignores: A4", "switches, name: b, at: 30"),
            "b.yaml:7:5: b answers at port 30, and so does a (line 6)",
        ),
        (
            ports(
                "switches, name: a, at: 20, ignores: A6", "switches, name: b, at: 21, ignores: A0"
            ),
            "b.yaml:7:5: b answers at port 20, and so does a (line 6)",
        ),
    ],
)
def test_what_is_selected_together_is_told(rest: str, told: str) -> None:
    board = fit(read_board(HEAD + rest, "b.yaml"))
    assert board.clashes() == ([told] if told else [])
    assert told in describe(board)
    assert ("Selected together" in describe(board)) == bool(told)


@pytest.mark.parametrize(
    ("rest", "line", "said"),
    [
        (
            ports("switches, name: a, at: 20", "switches, name: b, at: 20"),
            7,
            "b answers at port 20, and so does a (line 6): they would fight; "
            "expected addresses of its own, or 'shared: yes' if a fight is meant",
        ),
        (  # the same device without 'readable' would be in nobody's way
            ports("switches, name: a, at: 20", "latch, name: b, at: 20, readable: yes"),
            7,
            "b answers at port 20, and so does a (line 6)",
        ),
        (
            ports("8255A, name: ppi, at: 20-23", "8251A, name: usart, at: 22-23"),
            7,
            "usart answers at port 22, and so does ppi (line 6)",
        ),
        (  # a range longer than the chip is stated too
            ports("switches, name: a, at: 20-2F", "switches, name: b, at: 2A"),
            7,
            "b answers at port 2A, and so does a (line 6)",
        ),
        (  # ports in the memory space
            "  - {device: converter, name: in, at: 9000, values: [00]}\n"
            "  - {device: switches, name: b, at: 9001}\n",
            6,
            "b answers at address 9001, and so does in (line 5)",
        ),
    ],
)
def test_a_fight_that_is_not_said_to_be_meant_is_refused(rest: str, line: int, said: str) -> None:
    with pytest.raises(UserError) as caught:
        fit(read_board(HEAD + rest, "b.yaml"))
    found = (HEAD + rest).splitlines()[line - 1]
    column = found.rindex("at: ") + len("at: ") + 1
    assert str(caught.value).startswith(f"b.yaml:{line}:{column}: {said}")


def test_either_of_two_may_say_that_a_fight_is_meant() -> None:
    for first, second in ((", shared: yes", ""), ("", ", shared: yes"), (", shared: yes",) * 2):
        text = ports(f"switches, name: a, at: 20{first}", f"switches, name: b, at: 20{second}")
        assert fit(read_board(HEAD + text, "b.yaml")).clashes()


def test_every_fight_is_told() -> None:
    text = "ports:\n" + "  - {device: switches, at: 20}\n" * 3
    with pytest.raises(UserErrors) as caught:
        fit(read_board(HEAD + text, "b.yaml"))
    found = [error.place.line for error in caught.value.errors]
    assert found == [7, 8, 8]


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (
            "{device: 8251A, at: 00-02}",
            "device 8251A has 2 registers, and the range 3 addresses; "
            "expected 00-01, or a multiple of that range",
        ),
        (
            "{device: 8255A, at: 20-22}",
            "device 8255A has 4 registers, and the range 3 addresses; "
            "expected 20-23, or a multiple of that range",
        ),
        ("{device: 8257, at: 40-48}", "device 8257 has 16 registers"),
        ("{device: 8251A, at: 00-01}", ""),
        ("{device: 8251A, at: 00-07}", ""),
        ("{device: 8255A, at: 20-21}", ""),
    ],
)
def test_a_range_is_whole_sets_of_registers_or_an_even_part(entry: str, said: str) -> None:
    text = f"{HEAD}ports:\n  - {entry}\n"
    if not said:
        assert fit(read_board(text, "b.yaml"))
        return
    with pytest.raises(UserError) as caught:
        read_board(text, "b.yaml")
    column = text.splitlines()[5].index("at: ") + len("at: ") + 1
    assert str(caught.value).startswith(f"b.yaml:6:{column}: {said}")
