"""A lamp as one character, by how bright it glows.

A lamp that was high all the time, one that never was, and three steps between: the shapes
alone tell them apart, on a dark ground and on a light one.
"""

from __future__ import annotations

from typing import NamedTuple


class Lamps(NamedTuple):
    """The characters, darkest first."""

    never: str
    little: str
    half: str
    mostly: str
    always: str


ROUND = Lamps("○", "◔", "◑", "◕", "●")
PLAIN = Lamps(".", ":", "+", "*", "#")
"""For terminals whose encoding has no more than ASCII."""


def lamp(share: float, lamps: Lamps) -> str:
    """The character for a share of time, 0 to 1.

    The brightest and the darkest are kept for lines that did not change: one that was high
    for however short a time is not drawn as if it never had been.
    """
    if share <= 0:
        return lamps.never
    if share >= 1:
        return lamps.always
    return lamps.little if share < 1 / 3 else lamps.half if share < 2 / 3 else lamps.mostly


def lamps_for(encoding: str | None) -> Lamps:
    """The characters that a terminal with this encoding can show."""
    try:
        "".join(ROUND).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return ROUND
