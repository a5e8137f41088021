"""Cutting console lines into words."""

import pytest

from emu85.console.tokens import split_line, without_comment
from emu85.errors import UserError


def test_words_know_their_columns() -> None:
    tokens = split_line("  stop  on MW")
    assert [(t.text, t.column) for t in tokens] == [("stop", 3), ("on", 9), ("MW", 12)]


def test_quotes_keep_blanks() -> None:
    assert [t.text for t in split_line("load 'my file.hex' at 0")] == [
        "load",
        "my file.hex",
        "at",
        "0",
    ]


@pytest.mark.parametrize("line", ["", "   ", "# all comment", "   # so is this"])
def test_lines_without_words(line: str) -> None:
    assert split_line(line) == []


def test_a_comment_ends_the_words_but_stays_in_the_raw_text() -> None:
    tokens = split_line("type help # now")
    assert [t.text for t in tokens] == ["type", "help"]
    assert tokens[1].raw == "help # now"


def test_a_hash_inside_a_word_or_quotes_is_no_comment() -> None:
    assert without_comment("on MW at A#B") == "on MW at A#B"
    assert without_comment("data '#' # byte 23") == "data '#'"
    assert without_comment("it's # a comment") == "it's"


def test_an_open_quote_is_a_located_mistake() -> None:
    with pytest.raises(UserError) as caught:
        split_line("load 'never closed")
    assert caught.value.place.column == 6
