"""Patterns mean what the wildcards of file names mean, held against the standard library."""

from __future__ import annotations

from fnmatch import fnmatchcase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.rehearsal.patterns import Matcher, first_end, quoted, quoted_bytes, read_pattern

LETTERS = "ab*?\\[\r\n"
TEXTS = st.text(LETTERS, max_size=12)
OURS = {"\\": r"\\", "*": r"\*", "?": r"\?", "\r": r"\r", "\n": r"\n"}
THEIRS = {"*": "[*]", "?": "[?]", "[": "[[]"}
PIECES = st.lists(
    st.sampled_from(["any", "one"]) | st.sampled_from(LETTERS).map(lambda c: f"={c}"), max_size=8
)


def ours(pieces: list[str]) -> str:
    """The pattern as a rehearsal has it."""
    wild = {"any": "*", "one": "?"}
    return "".join(wild.get(piece) or OURS.get(piece[1:], piece[1:]) for piece in pieces)


def theirs(pieces: list[str]) -> str:
    """The same for fnmatch, which escapes by brackets."""
    wild = {"any": "*", "one": "?"}
    return "".join(wild.get(piece) or THEIRS.get(piece[1:], piece[1:]) for piece in pieces)


@given(PIECES, TEXTS)
def test_a_whole_text(pieces: list[str], text: str) -> None:
    assert read_pattern(ours(pieces)).matches(map(ord, text)) == fnmatchcase(text, theirs(pieces))


@given(PIECES, TEXTS, st.booleans())
def test_the_first_end_of_it(pieces: list[str], text: str, anywhere: bool) -> None:
    wanted = ("*" if anywhere else "") + theirs(pieces)
    ends = [count for count in range(len(text) + 1) if fnmatchcase(text[:count], wanted)]
    found = first_end(read_pattern(ours(pieces)), map(ord, text), anywhere=anywhere)
    assert found == (ends[0] if ends else None)


@given(PIECES, TEXTS)
def test_what_is_lost_stays_lost(pieces: list[str], text: str) -> None:
    matcher = Matcher(read_pattern(ours(pieces)))
    for count, code in enumerate(map(ord, text), 1):
        matcher.feed(code)
        if matcher.is_lost:
            assert not any(
                fnmatchcase(text[:more], theirs(pieces)) for more in range(count, len(text) + 1)
            )


@given(st.text(max_size=8), st.text(max_size=8))
def test_quoted_text_matches_itself_alone(text: str, other: str) -> None:
    written = quoted(text)
    assert written[0] == written[-1] == '"' and '"' not in written[1:-1]
    pattern = read_pattern(written[1:-1])
    assert pattern.matches(map(ord, text))
    assert pattern.matches(map(ord, other)) == (text == other)


@given(st.binary(max_size=8), st.binary(max_size=8))
def test_quoted_bytes_match_themselves_alone(data: bytes, other: bytes) -> None:
    written = quoted_bytes(data)
    assert written.isascii() and written.isprintable()
    pattern = read_pattern(written[1:-1])
    assert pattern.matches(data)
    assert pattern.matches(other) == (data == other)


def test_escapes_stand_for_their_bytes() -> None:
    assert read_pattern(r"\r\n\t\x1B\x2a").matches(b"\r\n\t\x1b*")


@pytest.mark.parametrize(("text", "column"), [(r"ab\q", 3), ("\\", 1), (r"\x4", 1)])
def test_unknown_escapes(text: str, column: int) -> None:
    with pytest.raises(UserError) as caught:
        read_pattern(text)
    assert "there is no escape" in str(caught.value)
    assert caught.value.place.column == column


def test_a_long_text_is_looked_at_once() -> None:
    """A star before each of many letters, on a text that nearly matches everywhere."""
    pattern = read_pattern("*".join("a" * 40) + "b")
    assert first_end(pattern, map(ord, "a" * 20_000), anywhere=True) is None
