"""Lines that are too long for the terminal, broken where there is a blank."""

from __future__ import annotations


def folded(line: str, width: int, indent: int) -> list[str]:
    """``line`` on as many lines as it takes.

    Breaks are where two blanks part one thing from the next, if such a place lies in
    the second half of the line; else at any blank.  What has none is cut.

    Args:
        width: columns there are, more than ``indent``.
        indent: blanks before every line but the first.
    """
    lines = []
    left = line.rstrip()
    while len(left) > width:
        cut = _break(left, indent + 1, width)
        lines.append(left[:cut].rstrip())
        left = " " * indent + left[cut:].lstrip()
    return [*lines, left]


def _break(line: str, low: int, width: int) -> int:
    for gap, start in (("  ", max(low, width // 2)), (" ", low)):
        cut = line.rfind(gap, start, width + len(gap))
        if cut >= 0:
            return cut
    return width
