"""Text of one style each, of which the panel's lines are made."""

from __future__ import annotations

from typing import NamedTuple

STRONG, HEAD, LIT = "strong", "head", "lit"
"""Styles: emphasis alone, no colour."""
LABEL = 9
"""Columns before what a line tells."""


class Piece(NamedTuple):
    """Text of one style.

    Attributes:
        style: one of :data:`STRONG`, :data:`HEAD`, :data:`LIT`, or none.
        action: what a click on it does; the name of a key.
    """

    text: str
    style: str = ""
    action: str = ""


Line = list[Piece]


def labelled(label: str, text: str, style: str = "") -> Line:
    """A line with its label."""
    return [Piece(f"{label:<{LABEL}}"), Piece(text, style)]


def cut(line: Line, columns: int) -> Line:
    """As much of a line as fits."""
    out: Line = []
    room = columns
    for piece in line:
        if room <= 0:
            break
        out.append(piece._replace(text=piece.text[:room]))
        room -= len(piece.text)
    return out
