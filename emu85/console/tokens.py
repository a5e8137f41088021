"""A console line cut into words, each knowing where it stands."""

from __future__ import annotations

from dataclasses import dataclass

from emu85.errors import Place, UserError

_QUOTES = "\"'"


@dataclass(frozen=True, slots=True)
class Token:
    """One word of a line.

    ``column`` counts from 1.  ``text`` is without the quotes that were around it;
    ``raw`` is everything from here to the end of the line, comment included.
    """

    text: str
    column: int
    raw: str = ""

    @property
    def folded(self) -> str:
        """The text as words are compared."""
        return self.text.casefold()


def split_line(line: str) -> list[Token]:
    """The words of ``line``, up to a comment (``#`` at the beginning of a word).

    Blanks part words; a word may stand in single or double quotes, which is how a
    file name keeps its blanks.

    Raises:
        UserError: a quote was opened and not closed.
    """
    tokens: list[Token] = []
    at = 0
    while True:
        while at < len(line) and line[at].isspace():
            at += 1
        if at == len(line) or line[at] == "#":
            return tokens
        end = _quoted_end(line, at) if line[at] in _QUOTES else _plain_end(line, at)
        text = line[at + 1 : end - 1] if line[at] in _QUOTES else line[at:end]
        tokens.append(Token(text, at + 1, line[at:]))
        at = end


def without_comment(raw: str) -> str:
    """``raw`` up to a ``#`` that begins a word outside quotes, trailing blanks dropped."""
    quote = ""
    for i, c in enumerate(raw):
        begins_word = i == 0 or raw[i - 1].isspace()
        if quote:
            quote = "" if c == quote else quote
        elif c in _QUOTES and begins_word:
            quote = c
        elif c == "#" and begins_word:
            return raw[:i].rstrip()
    return raw.rstrip()


def _plain_end(line: str, at: int) -> int:
    while at < len(line) and not line[at].isspace():
        at += 1
    return at


def _quoted_end(line: str, at: int) -> int:
    end = line.find(line[at], at + 1)
    if end < 0:
        raise UserError(
            "a quote is opened and not closed",
            Place(column=at + 1),
            expected=f"another {line[at]} further on",
        )
    return end + 1
