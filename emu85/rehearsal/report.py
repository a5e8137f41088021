"""A verdict as text: a line for each rehearsal, and what differs, side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import zip_longest

from emu85.rehearsal.verdict import Difference, Step, Verdict
from emu85.wording import counted

WIDTH = 80
_HEADS = ("expected", "seen")
_INDENT = "    "
_SAME, _OTHER = " | ", " # "
"""Between the two columns: this line is the same on both sides, or it is not."""
_LONGEST_NAME = 34


def summary(verdict: Verdict) -> str:
    """One line: which rehearsal, whether it passed, how much of it was performed."""
    return f"{_name(verdict)}  {outcome(verdict)}"


def outcome(verdict: Verdict) -> str:
    """Whether it passed, or where it failed first, and how much board time it took."""
    time = f"{_time(verdict.seconds)} of board time"
    if verdict.passed:
        return f"passed, {counted(len(verdict.steps), 'line')}, {time}"
    return f"FAILED at line {verdict.failed[0].place.line}, {time}"


def _time(seconds: float) -> str:
    if seconds >= 1:
        return f"{seconds:.3f} s"
    return f"{seconds * 1e3:.3f} ms" if seconds >= 1e-3 else f"{seconds * 1e6:.1f} us"


def _name(verdict: Verdict) -> str:
    return f"{shortened(str(verdict.path)):<{_LONGEST_NAME}}"


def shortened(name: str) -> str:
    """The end of a file's name, as long as a line of progress has room for."""
    return name if len(name) <= _LONGEST_NAME else f"…{name[1 - _LONGEST_NAME :]}"


def report(verdict: Verdict, width: int = WIDTH) -> str:
    """All that is not as expected, two columns to a line; empty if it passed."""
    return "\n".join(line for step in verdict.failed for line in _step(step, width))


def _step(step: Step, width: int) -> Iterator[str]:
    yield f"{step.place}"
    yield from textwrap.wrap(
        step.text, width, initial_indent="  ", subsequent_indent=_INDENT, break_on_hyphens=False
    )
    for difference in step.differences:
        yield from difference_lines(difference, width)


def difference_lines(difference: Difference, width: int = WIDTH) -> Iterator[str]:
    """What was expected and what was seen, in two columns, below a sentence on it."""
    if difference.note:
        yield from textwrap.wrap(
            difference.note, width, initial_indent="  ", subsequent_indent="  "
        )
    room = (width - len(_INDENT) - len(_SAME)) // 2
    sides = [(_HEADS[0], _HEADS[1], _SAME)]
    for left, right in zip_longest(
        difference.expected.split("\n"), difference.seen.split("\n"), fillvalue=""
    ):
        between = _SAME if left == right else _OTHER
        pieces = zip_longest(_pieces(left, room), _pieces(right, room), fillvalue="")
        sides += [(one, other, between) for one, other in pieces]
    for left, right, between in sides:
        yield f"{_INDENT}{left:<{room}}{between}{right}".rstrip()


def _pieces(text: str, room: int) -> list[str]:
    """A line cut to the width of its column."""
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return [shown[at : at + room] for at in range(0, len(shown), room)] or [""]
