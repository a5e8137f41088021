"""Messages: what they quote is bounded and can be seen, and the caret stands right."""

from __future__ import annotations

import pytest

from emu85.errors import Place, UserError, nearest


def _under_caret(text: str) -> str:
    """The character of the last line but one that the caret of the last one points at."""
    line, caret = text.split("\n")[-2:]
    assert caret.strip() == "^"
    return line[caret.index("^")]


@pytest.mark.parametrize("column", [1, 2, 61, 62, 5000, 9938, 9941, 10_000])
def test_a_long_line_is_shown_round_its_caret(column: int) -> None:
    line = list("." * 10_000)
    line[column - 1] = "X"
    text = str(UserError("wrong", Place("a.asm", 3, column), source="".join(line)))
    assert _under_caret(text) == "X"
    assert len(text) < 300


def test_a_caret_behind_the_end_of_a_long_line() -> None:
    text = str(UserError("missing", Place("a.asm", 1, 501), source="x" * 499 + "y\n"))
    line, caret = text.split("\n")[1:]
    assert line.endswith("xy")
    assert caret.index("^") == len(line)


def test_a_line_that_fits_is_shown_whole_with_its_tabs() -> None:
    line = "\tMVI\tA," + "1" * 100
    assert str(UserError("wrong", Place(column=6), source=line)) == (
        f"column 6: wrong\n    {line}\n    \t   \t^"
    )


@pytest.mark.parametrize(
    ("place", "told"),
    [
        (Place(), "wrong"),
        (Place(column=9), "column 9: wrong"),
        (Place(line=7), "line 7: wrong"),
        (Place(line=7, column=12), "line 7, column 12: wrong"),
        (Place("b.yaml", 7, 12), "b.yaml:7:12: wrong"),
        (Place("--join", column=7), "--join:7: wrong"),
    ],
)
def test_a_place_says_what_its_numbers_count(place: Place, told: str) -> None:
    assert str(UserError("wrong", place)) == told


@pytest.mark.parametrize("padding", ["", "." * 500])
def test_control_characters_are_escaped_and_the_caret_keeps_its_place(padding: str) -> None:
    line = f"{padding}a\x1b[2J\0\u202eX{padding}"
    text = str(UserError("wrong \x07 word", Place("f", 1, line.index("X") + 1), source=line))
    assert _under_caret(text) == "X"
    assert r"\x1b[2J\x00\u202e" in text
    assert r"wrong \x07 word" in text
    assert all(c.isprintable() or c == "\n" for c in text)


@pytest.mark.parametrize(
    "written", ["\0" * 3_000_000, "9" * 10_000, "ab " * 100_000, "\x1f" * 100_000]
)
def test_what_is_quoted_is_bounded(written: str) -> None:
    for quoted in (repr(written), written):
        error = UserError(f"{quoted} is not a number", expected=written, nearest=written)
        assert len(str(error)) < 12_000
        assert "is not a number" in str(error)
        assert error.message == f"{quoted} is not a number"


def test_both_ends_of_a_long_word_are_told() -> None:
    text = str(UserError(f"no board {'/begin' + 'x' * 300 + 'end.yaml'!r}"))
    assert "'/begin" in text
    assert "end.yaml'" in text
    assert len(text) < 200


def test_a_message_in_a_message_keeps_its_lines_and_its_caret() -> None:
    inner = str(UserError("wrong", Place("a.asm", 1, 300), source="." * 299 + "X" + "." * 300))
    assert str(UserError(inner, Place("s.do", 7))) == f"s.do:7: {inner}"


def test_an_ordinary_message_is_told_as_it_is() -> None:
    error = UserError(
        "'MVO' is no mnemonic", Place("a.asm", 2, 1), expected="a mnemonic", nearest="MOV"
    )
    assert str(error) == "a.asm:2:1: 'MVO' is no mnemonic; expected a mnemonic; did you mean 'MOV'?"


def test_a_word_too_long_has_no_nearest() -> None:
    assert nearest("MVO", ["MOV"]) == "MOV"
    assert nearest("x" * 100_000, ["x" * 99_999]) == ""
