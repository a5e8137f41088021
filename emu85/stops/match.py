"""The same conditions, asked of the trace instead of the running machine.

A million records are 16 Mbyte, so a question is a matter of memory traffic: one
pass over a column costs about as much as reading it, while picking records by
index costs several times more a record.  So columns are tested whole, cheapest
question first, and the search turns to indices as soon as few records are left.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.bus.trace import Columns
from emu85.stops.condition import ANY, Condition, Step

Records = NDArray[Any] | Columns
"""Trace records, oldest first; see ``bus.trace`` for the columns."""

Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

_FEW = 16
"""One record in so many left: go on by index."""

_Question = tuple[str, Callable[[NDArray[Any]], Bools]]


def match(condition: Condition, records: Records) -> Bools:
    """Which ``records`` would have been hits, had ``condition`` been armed before the first.

    Sequences and passes run through the records as the core runs through
    cycles: a hit uses up what led to it.  The first record has no cycle before
    it, so no line changes there.

    Returns:
        One bool a record; for a sequence, True at the last step's cycle.
    """
    mask = np.zeros(len(records), dtype=np.bool_)
    mask[find(condition, records)] = True
    return mask


def find(condition: Condition, records: Records) -> Indices:
    """The indices of the records that :func:`match` marks, oldest first."""
    met = [_met(step, records) for step in condition.steps]
    if len(met) > 1:
        return _in_order(condition, met)
    passes = condition.steps[0].passes
    return met[0][passes :: passes + 1]


def newest(condition: Condition, records: Records, count: int) -> Indices:
    """The indices of the last ``count`` records that match, newest first."""
    return find(condition, records)[::-1][:count]


def _in_order(condition: Condition, met: list[Indices]) -> Indices:
    """Hits of a sequence, given where each of its steps is met.

    From every possible hit, and from the very beginning, all steps are followed
    at once to the hit that would come next; what is left is to walk that chain.
    """
    last = met[-1]
    at = np.concatenate(([-1], last))
    which = np.zeros(len(at), dtype=np.intp)
    for step, places in zip(condition.steps, met, strict=True):
        which = np.searchsorted(places, at, side="right") + step.passes
        beyond = np.append(places, np.iinfo(np.intp).max)
        at = beyond[np.minimum(which, len(places))]
    following = which.tolist()
    hits = []
    hit = following[0]
    while hit < len(last):
        hits.append(hit)
        hit = following[hit + 1]
    return last[hits]


def _met(step: Step, records: Records) -> Indices:
    """Where ``step`` matches, passes left aside."""
    if step.lines_only:
        return _come_true(step, records["lines"])
    kept: Bools | None = None
    questions = _questions(step)
    for number, (column, holds) in enumerate(questions):
        answer = holds(records[column])
        kept = answer if kept is None else kept & answer
        if np.count_nonzero(kept) * _FEW < len(records):
            return _changed(step, records, _narrowed(records, kept, questions[number + 1 :]))
    every = np.arange(len(records)) if kept is None else np.flatnonzero(kept)
    return _changed(step, records, every)


def _narrowed(records: Records, kept: Bools, questions: list[_Question]) -> Indices:
    places = np.flatnonzero(kept)
    for column, holds in questions:
        places = places[holds(records[column][places])]
    return places


def _come_true(step: Step, lines: NDArray[np.uint16]) -> Indices:
    holds = (lines & step.line_mask) == step.line_value
    came = holds[1:] & ~holds[:-1]
    return _changed_lines(step, lines, np.flatnonzero(came) + 1)


def _changed(step: Step, records: Records, places: Indices) -> Indices:
    if not step.edge_mask:
        return places
    return _changed_lines(step, records["lines"], places[places > 0])


def _changed_lines(step: Step, lines: NDArray[np.uint16], places: Indices) -> Indices:
    edges = (lines[places] ^ lines[places - 1]) & step.edge_mask
    kept: Indices = places[edges == step.edge_mask]
    return kept


def _questions(step: Step) -> list[_Question]:
    """The questions to be asked of single columns, the likely narrowest first."""
    questions: list[_Question] = []
    if step.low > 0 or step.high < 0xFFFF:
        questions.append(("address", lambda c: _ranged(c, step)))
    if step.address_mask:
        questions.append(("address", lambda c: (c & step.address_mask) == step.address_value))
    if step.data_mask:
        questions.append(("data", lambda c: (c & step.data_mask) == step.data_value))
    if step.data_low > 0 or step.data_high < 0xFF:
        questions.append(("data", lambda c: _between(c, step.data_low, step.data_high)))
    if step.types != frozenset(Cycle):
        questions.append(("type", lambda c: _typed(c, step.types)))
    noted = int(Line.FINDING) if step.finding else 0
    mask, value = step.line_mask | noted, step.line_value | noted
    if mask:
        questions.append(("lines", lambda c: (c & mask) == value))
    return questions


def _ranged(column: NDArray[Any], step: Step) -> Bools:
    inside = _between(column, step.low, step.high)
    return ~inside if step.outside else inside


def _between(column: NDArray[Any], low: int, high: int) -> Bools:
    answer: Bools = column == low if low == high else (column >= low) & (column <= high)
    return answer


def _typed(column: NDArray[np.uint8], types: frozenset[Cycle]) -> Bools:
    if types == ANY:
        return _between(column, 0, int(max(ANY)))
    first, *others = sorted(types)
    answer = _between(column, int(first), int(first))
    for other in others:
        answer |= _between(column, int(other), int(other))
    return answer
