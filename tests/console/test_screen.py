"""How wide the console takes the screen to be, and lines that are too long for it."""

import io

import pytest

from emu85.console.folding import folded
from emu85.console.screen import PlainScreen
from emu85.errors import UserError


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("columns", "width"), [("132", 132), ("40", 40), ("12", 40)])
def test_a_terminal_is_as_wide_as_it_is(
    monkeypatch: pytest.MonkeyPatch, columns: str, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert PlainScreen(_Terminal()).width == width
    assert PlainScreen(io.StringIO()).width == 80


def test_lines_break_at_two_blanks_or_one_or_anywhere() -> None:
    assert folded("  a 1  b 2  c 3", 12, 4) == ["  a 1  b 2", "    c 3"]
    assert folded("  one two three four", 12, 4) == ["  one two", "    three", "    four"]
    assert folded("x" * 20, 12, 4) == ["x" * 12, "    " + "x" * 8]
    assert folded("exactly so", 10, 4) == ["exactly so"]
    assert folded("exactly so  no", 10, 4) == ["exactly so", "    no"]


def test_a_terminal_gets_mistakes_in_whole_words() -> None:
    long = UserError("what is wrong with it", expected="one of " + "mnemonics, " * 9 + "or-so-on")
    error = f"{long}\n    {'shown ' * 12}\n     ^"
    out = _Terminal()
    PlainScreen(out, width=40).problem(error)
    lines = out.getvalue().splitlines()
    assert max(map(len, lines[:-2])) <= 40 and len(lines) > 5
    assert " ".join(lines[:-2]) == str(long)
    assert lines[-2:] == error.splitlines()[-2:]  # the caret still stands at its place
    piped = io.StringIO()
    PlainScreen(piped, width=40).problem(error)
    assert piped.getvalue() == f"{error}\n"
