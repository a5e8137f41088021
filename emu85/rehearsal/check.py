"""Mistakes in the lines of a rehearsal, found before the first of them is performed."""

from __future__ import annotations

from dataclasses import replace

from emu85.console.grammar import parse
from emu85.console.tokens import Token, split_line
from emu85.console.words import FORMS as CONSOLE_FORMS
from emu85.errors import Mistakes, Place, UserError, nearest
from emu85.rehearsal.kinds import StageContext
from emu85.rehearsal.lines import FORMS, WORDS
from emu85.rehearsal.script import Script

_BOUND_TO_OUTSIDE = {
    "join": "'type to END TEXT' for what somebody outside would send",
    "pace": "'step COUNT' or 'run for TIME'",
    "part": "no joined ends",
    "record": "console lines that move the board or look at it",
    "rehearse": "'include FILE' for the lines of another file",
    "talk": "'enter TEXT' and 'hear'",
}
"""Console words that live by the wall clock or by what is outside, and what to do instead."""
_CONSOLE_WORDS = frozenset(form.word for form in CONSOLE_FORMS)
_LOAD = "load"


def check(script: Script, context: StageContext) -> None:
    """Look through all lines; a console line is read in full only when it is its turn.

    What a line behind a ``load`` names may come by it, so such lines wait as well.

    Args:
        context: as the first line finds it.

    Raises:
        UserError: the only mistake.
        UserErrors: several.
    """
    mistakes = Mistakes()
    marks = list(context.marks)
    is_loaded = False
    for line in script.lines:
        with mistakes.noted():
            try:
                words = split_line(line.text)
                word = _console_word(words)
                if word is None and not is_loaded:
                    parse(line.text, FORMS, replace(context, marks=tuple(marks)))
            except UserError as error:
                raise line.blame(error) from None
            is_loaded |= word == _LOAD
            if words[0].folded == "mark" and len(words) > 1:
                marks.append(words[1].text)
    mistakes.tell()


def _console_word(words: list[Token]) -> str | None:
    """The word of a line that the console does; None for one of the rehearsal's own.

    Raises:
        UserError: neither, or one that a rehearsal cannot have.
    """
    first = words[0]
    if first.folded in WORDS:
        if first.folded == "at" and len(words) > 2:
            _console_word(words[2:])
        return None
    if first.folded in _BOUND_TO_OUTSIDE:
        raise UserError(
            f"a rehearsal has no '{first.folded}': it goes by board time alone",
            Place(column=first.column),
            expected=_BOUND_TO_OUTSIDE[first.folded],
        )
    if first.folded not in _CONSOLE_WORDS:
        raise UserError(
            f"there is no line that begins with {first.text!r}",
            Place(column=first.column),
            expected=f"a console word, or {', '.join(sorted(WORDS))}",
            nearest=nearest(first.text, WORDS | _CONSOLE_WORDS),
        )
    return first.folded
