"""A compute loop, with and without stops and wait states, trace always on."""

from __future__ import annotations

from collections.abc import Iterator

from tests.bench.clock import multiple
from tests.bench.programs import COMPUTE, NEAR_MISSES, STOPS, machine
from tests.bench.report import Row

_T_STATES = 40_000_000
_WANTED = 150


def compute() -> Iterator[Row]:
    """Multiples of a 3.072 MHz board's real time."""
    yield Row("compute, trace, 16 stops armed", _run(STOPS), "x", _WANTED)
    yield Row("compute, trace, no stops", _run(()), "x")
    yield Row("compute, trace, 16 stops, 1 wait state", _run(STOPS, waits=1), "x")
    yield Row("compute, trace, a stop on a line alone", _run(("when SOD high",)), "x")
    yield Row("compute, trace, 4 stops that nearly hit", _run(NEAR_MISSES), "x")


def _run(stops: tuple[str, ...], waits: int = 0) -> float:
    board = machine(COMPUTE, waits=waits)
    for text in stops:
        board.stops.add(text)
    return multiple(board, _T_STATES)
