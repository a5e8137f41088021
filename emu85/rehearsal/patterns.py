r"""Texts with wildcards, and whether something matches them, a character at a time.

``*`` stands for any characters or none, ``?`` for exactly one, line ends among them.
``\*``, ``\?`` and ``\\`` are the characters themselves; ``\r``, ``\n``, ``\t`` and
``\x1B`` are as in the console's ``type``.  Everything else stands for itself.

A pattern is a row of *elements*, each one character or any one, with gaps between some
of them.  What has been matched so far is a set of places in that row, kept as the bits
of an integer: bit ``n`` says that the first ``n`` elements can have been met.  So a
character costs a few operations on integers whatever the pattern, and nothing is ever
looked at twice, however long the output of a board becomes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from emu85.errors import Place, UserError

ANY = None
"""The element that any one character meets."""

_PIECE = re.compile(r"\\(?:x([0-9A-Fa-f]{2})|(.?))|(.)", re.S)
_ESCAPES = {"r": "\r", "n": "\n", "t": "\t"}
_PLAIN = "*?\\"
"""What a backslash makes an ordinary character."""


@dataclass(frozen=True)
class Pattern:
    """A text with wildcards.

    Attributes:
        text: as written, without quotes.
        elements: character codes, or :data:`ANY`.
        gaps: bit ``n``: any characters may stand before element ``n``.
    """

    text: str
    elements: tuple[int | None, ...]
    gaps: int

    def __str__(self) -> str:
        return self.text

    @property
    def accepts(self) -> tuple[dict[int, int], int]:
        """Per character code, and for every code, the elements it meets, as bits."""
        codes: dict[int, int] = {}
        every = 0
        for number, element in enumerate(self.elements):
            if element is ANY:
                every |= 1 << number
            else:
                codes[element] = codes.get(element, 0) | 1 << number
        return codes, every

    def matches(self, text: Iterable[int]) -> bool:
        """Whether the whole of ``text`` is what the pattern says."""
        matcher = Matcher(self)
        for code in text:
            matcher.feed(code)
        return matcher.is_met


def read_pattern(text: str) -> Pattern:
    r"""The pattern that a text says.

    Raises:
        UserError: an unknown escape; its column is that of ``text``.
    """
    elements: list[int | None] = []
    gaps = 0
    for found in _PIECE.finditer(text):
        code, escaped, plain = found.groups()
        if plain == "*":
            gaps |= 1 << len(elements)
        elif plain == "?":
            elements.append(ANY)
        else:
            elements.append(ord(plain or _unescaped(code, escaped, found.start() + 1)))
    return Pattern(text, tuple(elements), gaps)


def _unescaped(code: str | None, escaped: str, column: int) -> str:
    if code is not None:
        return chr(int(code, 16))
    if escaped and escaped in _PLAIN:
        return escaped
    if escaped not in _ESCAPES:
        raise UserError(
            f"there is no escape \\{escaped}",
            Place(column=column),
            expected=r"\r, \n, \t, \*, \?, \\ or \x and two digits",
        )
    return _ESCAPES[escaped]


def quoted(text: str) -> str:
    """A text as a pattern in double quotes that only it matches."""
    return '"' + "".join(map(_escaped, text)) + '"'


def quoted_bytes(data: bytes) -> str:
    """The same for bytes, all but ASCII as escapes."""
    shown = (_escaped(chr(b)) if b < 0x7F else f"\\x{b:02X}" for b in data)
    return '"' + "".join(shown) + '"'


def _escaped(character: str) -> str:
    if character in _PLAIN:
        return f"\\{character}"
    for letter, stands_for in _ESCAPES.items():
        if character == stands_for:
            return f"\\{letter}"
    is_shown = character.isprintable() and character != '"'
    return character if is_shown or ord(character) > 0xFF else f"\\x{ord(character):02X}"


class Matcher:
    """Follows one stream of character codes.

    Args:
        pattern: what is looked for.
        anywhere: it may begin at any character; else only at the first.
    """

    def __init__(self, pattern: Pattern, *, anywhere: bool = False) -> None:
        self._codes, self._every = pattern.accepts
        self._gaps = pattern.gaps | anywhere
        self._whole = 1 << len(pattern.elements)
        self._places = 1

    @property
    def is_met(self) -> bool:
        """Whether what has been fed, to its very end, is what the pattern says."""
        return bool(self._places & self._whole)

    @property
    def is_lost(self) -> bool:
        """Whether nothing that may follow can meet it any more."""
        return not self._places

    def feed(self, code: int) -> bool:
        """Take one more; :attr:`is_met` after it."""
        places = self._places
        met = places & (self._codes.get(code, 0) | self._every)
        self._places = met << 1 | places & self._gaps
        return self.is_met


def first_end(pattern: Pattern, text: Iterable[int], *, anywhere: bool = False) -> int | None:
    """How many characters of ``text`` it takes until the pattern is first met; or None."""
    matcher = Matcher(pattern, anywhere=anywhere)
    if matcher.is_met:
        return 0
    for count, code in enumerate(text, 1):
        if matcher.feed(code):
            return count
        if matcher.is_lost:
            return None
    return None
