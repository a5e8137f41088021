"""What a user is told when something they wrote cannot be taken.

Every reader of user text (board files, HEX, assembly, console lines, scripts)
raises :class:`UserError`; the console and the command line print ``str(error)``
and go on.  A message says where, what is wrong, what was expected, and the
nearest valid name.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where a piece of user text stands.

    ``line`` and ``column`` count from 1; 0 means "not known".
    """

    file: str = ""
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        numbers = [str(n) for n in (self.line, self.column) if n]
        return ":".join([self.file, *numbers] if self.file else numbers)


class UserError(Exception):
    """One mistake in something the user wrote.

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
        where = str(self.place)
        text = f"{where}: {self.message}" if where else self.message
        if self.expected:
            text += f"; expected {self.expected}"
        if self.nearest:
            text += f"; did you mean {self.nearest!r}?"
        return text + self._caret()

    def _caret(self) -> str:
        if not self.source:
            return ""
        shown = self.source.rstrip("\r\n")
        if not self.place.column:
            return f"\n    {shown}"
        # Tabs are kept so that the caret stands under the same cell.
        indent = "".join(c if c == "\t" else " " for c in shown[: self.place.column - 1])
        return f"\n    {shown}\n    {indent}^"


def nearest(word: str, words: Iterable[str]) -> str:
    """The word of ``words`` that is most like ``word``, or ``""``."""
    by_folded = {w.casefold(): w for w in words}
    close = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[close[0]] if close else ""
