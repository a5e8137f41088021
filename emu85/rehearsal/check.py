"""Mistakes in the lines of a rehearsal, found before the first of them is performed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from emu85.console.grammar import parse
from emu85.console.tokens import Token, split_line
from emu85.console.words import FORMS as CONSOLE_FORMS
from emu85.errors import Mistakes, Place, UserError, nearest
from emu85.rehearsal.kinds import StageContext
from emu85.rehearsal.lines import FORMS, WORDS
from emu85.rehearsal.script import Script

NOT_HERE = {
    "join": "'type to END TEXT' for what somebody outside would send",
    "pace": "'step COUNT' or 'run for TIME'",
    "panel": "'step', 'run for TIME', 'back' and 'reset'",
    "part": "no joined ends",
    "record": "console lines that move the board or look at it",
    "rehearse": "'include FILE' for the lines of another file",
    "talk": "'enter TEXT' and 'hear'",
}
"""Console words that live by the wall clock or by what is outside, and what to do instead."""
_END = "quit"
_CONSOLE_WORDS = frozenset(form.word for form in CONSOLE_FORMS)
_LOAD, _AT, _MARK = "load", "at", "mark"
_ANY_STOPS = range(1, 1_000_000)
_AT_WORDS = 2
"""Words of 'at T' before the console line."""


def check(script: Script, context: StageContext) -> None:
    """Look through all lines.

    What a line behind a ``load`` names may come by it, so such lines are read in full only
    when it is their turn, and whether there is a stop of some number shows only then.

    Args:
        context: as the first line finds it.

    Raises:
        UserError: the only mistake.
        UserErrors: several.
    """
    _check_has_lines(script)
    mistakes = Mistakes()
    marks = list(context.marks)
    is_loaded = False
    for line in script.lines:
        with mistakes.noted():
            try:
                words = split_line(line.text)
                first = words[0].folded
                console = words[_AT_WORDS:] if first == _AT else words
                if first not in WORDS or (first == _AT and console):
                    _check_console_word(console)
                    if not is_loaded:
                        _check_console_line(line.text, console[0].column, context)
                if first in WORDS and not is_loaded:
                    parse(line.text, FORMS, replace(context, marks=tuple(marks)))
            except UserError as error:
                raise line.blame(error) from None
            is_loaded |= first == _LOAD
            marks += [word.text for word in words[1:2] if first == _MARK]
    mistakes.tell()


def _check_console_line(text: str, column: int, context: StageContext) -> None:
    """Read it where it stands, so that a mistake has its column in the whole line."""
    line = " " * (column - 1) + text[column - 1 :]
    parse(line, CONSOLE_FORMS, replace(context, stops=_ANY_STOPS))


def _check_has_lines(script: Script) -> None:
    """Refuse what would pass without anything having been looked at."""
    if not script.lines:
        last = max(line.place.line for _, line in script.heading.values())
        raise UserError(
            "a rehearsal without lines",
            Place(str(script.path), last),
            expected="console lines, and what should come of them, below the heading",
        )


def _check_console_word(words: Sequence[Token]) -> None:
    first = words[0]
    if first.folded == _END:
        raise UserError(
            f"a rehearsal has no '{_END}': what follows it would pass unseen",
            Place(column=first.column),
            expected="no more lines, where it is to end",
        )
    if first.folded in NOT_HERE:
        raise UserError(
            f"a rehearsal has no '{first.folded}': it goes by board time alone",
            Place(column=first.column),
            expected=NOT_HERE[first.folded],
        )
    if first.folded not in _CONSOLE_WORDS:
        raise UserError(
            f"there is no line that begins with {first.text!r}",
            Place(column=first.column),
            expected=f"a console word, or {', '.join(sorted(WORDS))}",
            nearest=nearest(first.text, WORDS | _CONSOLE_WORDS),
        )
