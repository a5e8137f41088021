"""Seven-segment digits as text.

The segments are named as on every data sheet of such digits: ``a`` on top, then
clockwise ``b`` to ``f``, ``g`` in the middle, and the point.  A pattern is a byte,
bit 0 for ``a`` to bit 6 for ``g``, bit 7 for the point.  The shapes of the letters are
common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence

from emu85.board.kinds import Kind, scalar
from emu85.errors import UserError

NAMES = "abcdefg."
POINT = 0x80
UNKNOWN = "*"

_SHAPES = {
    " ": "", "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg",
    "6": "acdefg", "7": "abc", "8": "abcdefg", "9": "abcdfg", "A": "abcefg", "b": "cdefg",
    "C": "adef", "d": "bcdeg", "E": "adefg", "F": "aefg", "G": "acdef", "H": "bcefg",
    "J": "bcde", "L": "def", "P": "abefg", "U": "bcdef", "c": "deg", "h": "cefg", "n": "ceg",
    "o": "cdeg", "r": "eg", "t": "defg", "u": "cde", "y": "bcdfg", "-": "g", "_": "d",
    "=": "dg", "'": "f", "\"": "bf", "\u00b0": "abfg", "i": "c", "\u2261": "adg", "\u00af": "a",
}  # fmt: skip


def pattern(shape: str) -> int:
    """The byte in which these segments, by name, are lit."""
    return sum(1 << NAMES.index(segment) for segment in shape)


_ALSO = {"abcf": "7", "abcfg": "9"}
"""Other shapes of the same, as some decoders have them."""

CHARACTERS = {
    **{pattern(shape): character for character, shape in _SHAPES.items()},
    **{pattern(shape): character for shape, character in _ALSO.items()},
}
"""The character that a pattern without its point looks like."""


def text_of(patterns: Sequence[int]) -> str:
    """Digits from left to right, a point behind the digit that has it."""
    shown = []
    for each in patterns:
        shown.append(CHARACTERS.get(each & ~POINT, UNKNOWN))
        if each & POINT:
            shown.append(".")
    return "".join(shown)


def _order(text: str) -> tuple[int, ...]:
    if sorted(text) != sorted(NAMES):
        raise UserError(
            f"{text!r} does not name each segment once",
            expected=f"the letters {NAMES} in the order of bits 0 to 7",
        )
    return tuple(NAMES.index(letter) for letter in text)


ORDER: Kind[tuple[int, ...]] = scalar("the segments on bits 0 to 7, as abcdefg.", _order)
STRAIGHT = tuple(range(8))


def arranged(value: int, order: Sequence[int]) -> int:
    """A byte as it is wired, turned into a pattern; ``order`` gives a segment for each bit."""
    return sum(1 << segment for bit, segment in enumerate(order) if value >> bit & 1)
