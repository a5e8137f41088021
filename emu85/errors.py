"""What a user is told when something they wrote cannot be taken.

Every reader of user text (board files, HEX, assembly, console lines, scripts)
raises :class:`UserError`; the console and the command line print ``str(error)``
and go on.  A message says where, what is wrong, what was expected, and the
nearest valid name.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

_LONGEST_WORD = 160
"""Characters of a message without a blank; a path is seldom longer."""
_LONGEST_LINE = 600
_LONGEST_PLACE = 1000
_LONGEST_SOURCE = 120
"""Cells of a source line; a longer one is shown round its caret."""
_LONGEST_COMPARED = 256
_MOST_TOLD = 20
_CUT = "…"
_LONG_WORD = re.compile(rf"\S{{{_LONGEST_WORD + 1},}}")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a piece of user text stands.

    ``line`` and ``column`` count from 1; 0 means "not known".
    """

    file: str = ""
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.file:
            # Without a file in front a bare number would say nothing.
            named = (("line", self.line), ("column", self.column))
            return ", ".join(f"{what} {number}" for what, number in named if number)
        numbers = [str(n) for n in (self.line, self.column) if n]
        return ":".join([self.file, *numbers])


class OutputLost(OSError):
    """What the program prints can no longer be written: nobody reads it, or no space is left."""


class UserError(Exception):
    """One mistake in something the user wrote.

    What it quotes of the user's text is told shortened and with its control
    characters escaped; the attributes hold it in full.

    Args:
        message: what is wrong, one sentence without a final full stop.
        place: where it stands.
        expected: what would have been right, e.g. ``"a byte, 00 to FF"``.
        nearest: the nearest valid name, offered as a question.
        source: the offending line of text; printed with a caret under
            ``place.column`` when given.
    """

    def __init__(
        self,
        message: str,
        place: Place | None = None,
        *,
        expected: str = "",
        nearest: str = "",
        source: str = "",
    ) -> None:
        self.message = message
        self.place = place or Place()
        self.expected = expected
        self.nearest = nearest
        self.source = source
        super().__init__(message)

    def at(self, place: Place, source: str = "") -> UserError:
        """The same mistake, told with a place its first finder did not know."""
        return type(self)(
            self.message,
            place,
            expected=self.expected,
            nearest=self.nearest,
            source=source or self.source,
        )

    def __str__(self) -> str:
        where = _escaped(_shortened(str(self.place), _LONGEST_PLACE))
        message = _presented(self.message)
        text = f"{where}: {message}" if where else message
        if self.expected:
            text += f"; expected {_presented(self.expected)}"
        if self.nearest:
            text += f"; did you mean {_presented(repr(self.nearest))}?"
        return text + (pointed(self.source, self.place.column) if self.source else "")


class UserErrors(UserError):
    """Several mistakes told together.

    As an error it is like the first of them.

    Attributes:
        errors: at least one, each with its own place and source line.
    """

    def __init__(self, errors: tuple[UserError, ...]) -> None:
        first = errors[0]
        super().__init__(
            first.message,
            first.place,
            expected=first.expected,
            nearest=first.nearest,
            source=first.source,
        )
        self.errors = errors

    def at(self, place: Place, source: str = "") -> UserError:
        """Itself: every mistake in it already has its place."""
        return self

    def __str__(self) -> str:
        told = [str(error) for error in self.errors[:_MOST_TOLD]]
        more = len(self.errors) - _MOST_TOLD
        if more > 0:
            told.append(f"... and {more} more")
        return "\n".join(told)


class Mistakes:
    """Gathers mistakes that have nothing to do with one another.

    Attributes:
        found: in the order in which they were noted.
    """

    def __init__(self) -> None:
        self.found: list[UserError] = []

    @contextmanager
    def noted(self) -> Iterator[None]:
        """Go on after a mistake in the block."""
        try:
            yield
        except UserErrors as several:
            self.found.extend(several.errors)
        except UserError as error:
            self.found.append(error)

    def tell(self) -> None:
        """Raise what was noted, in the order of the text.

        Raises:
            UserError: the only mistake.
            UserErrors: several.
        """
        if len(self.found) == 1:
            raise self.found[0]
        if self.found:
            raise UserErrors(tuple(sorted(self.found, key=_place)))


def _place(error: UserError) -> tuple[str, int, int]:
    return error.place.file, error.place.line, error.place.column


def pointed(source: str, column: int) -> str:
    """A line of the user's on a line of its own, a caret below ``column`` unless that is 0.

    Of a long line the part round the caret is shown.
    """
    line = source.rstrip("\r\n")
    before, after = _halves(line, max(0, column - 1))
    if not column:
        return f"\n    {after}"
    # Tabs are kept so that the caret stands under the same cell.
    indent = "".join(c if c == "\t" else " " for c in before)
    return f"\n    {before}{after}\n    {indent}^"


def _halves(line: str, at: int) -> tuple[str, str]:
    """What is shown of a line before and after index ``at``."""
    if len(line) <= _LONGEST_SOURCE:
        before, after = _escaped(line[:at]), _escaped(line[at:])
        if len(before) + len(after) <= _LONGEST_SOURCE:
            return before, after
    room = _LONGEST_SOURCE // 2 - 1
    # No character takes less than a cell, so no more of them than cells need be looked at.
    before = _escaped(line[max(0, min(at, len(line)) - room - 1) : at])
    after = _escaped(line[at : at + room + 1])
    if len(before) > room:
        before = _CUT + before[-room:]
    if len(after) > room:
        after = after[:room] + _CUT
    return before, after


def _presented(text: str) -> str:
    """A text with the user's words in it, fit to be printed; its line ends are kept."""
    if len(text) <= _LONGEST_WORD and text.isprintable():
        return text
    words = _LONG_WORD.sub(lambda match: _shortened(match.group(), _LONGEST_WORD), text)
    return "\n".join(_escaped(_shortened(line, _LONGEST_LINE)) for line in words.split("\n"))


def _shortened(text: str, most: int) -> str:
    """The text, or its beginning and end if it has more than ``most`` characters."""
    if len(text) <= most:
        return text
    end = most // 3
    return f"{text[: most - end - 1]}{_CUT}{text[-end:]}"


def _escaped(text: str) -> str:
    """Every character that cannot be seen as its escape; tabs stay."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\t" else _escape(c) for c in text)


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


def nearest(word: str, words: Iterable[str]) -> str:
    """The word of ``words`` that is most like ``word``, or ``""``."""
    if len(word) > _LONGEST_COMPARED:
        return ""  # to compare takes time by the square
    by_folded = {w.casefold(): w for w in words}
    close = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[close[0]] if close else ""
