"""A minute of board time walked backwards, and what keeping its history costs."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator

from emu85.history.history import History
from emu85.machine import Machine
from tests.bench.clock import best
from tests.bench.report import Row

_MINUTE = 60.0
_MOST = 0.2


def history() -> Iterator[Row]:
    """Going back after a minute, and a run with and without a history."""
    for board in ("saltmarsh", "gantry"):
        past = _after_a_minute(board)
        yield Row(f"{board}: back a cycle, after a minute", *_slowest(past, 20, _cycle), True)
        yield Row(
            f"  back to any moment, {len(past.snapshots)} kept",
            *_slowest(past, 40, _anywhere),
            True,
        )
    yield Row("compute with its history, to without", _compute(True) / _compute(False), "", 0.9)


def _after_a_minute(board: str) -> History:
    machine = Machine.from_board(board)
    machine.load(machine.board.firmware or "")
    past = History(machine)
    machine.run(seconds=_MINUTE, wait=True)
    return past


def _slowest(
    past: History, times: int, move: Callable[[History, random.Random], None]
) -> tuple[float, str, float]:
    rng = random.Random(85)
    taken = [_seconds(lambda: move(past, rng)) for _ in range(times)]
    return max(taken), "s", _MOST


def _cycle(past: History, rng: random.Random) -> None:
    past.back_cycles(1)


def _anywhere(past: History, rng: random.Random) -> None:
    past.go_to(rng.randrange(past.latest_t))


def _seconds(action: Callable[[], None]) -> float:
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def _compute(is_kept: bool) -> float:
    """Board seconds of the memory-only board's firmware per second."""
    machine = Machine.from_board("slate")
    machine.load(machine.board.firmware or "")
    if is_kept:
        History(machine)
    return 1 / best(lambda: machine.run(seconds=5, wait=True), 5)
