"""A minute of board time walked backwards, and what keeping its history costs."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from functools import partial

from emu85.firmware import Image, assemble
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
    yield from _searches()
    yield Row("compute with its history, to without", _compute(True) / _compute(False), "", 0.9)


_BUSY = """
        ORG     0
        LXI     SP,8800H
        MVI     A,0C0H
        SIM                     ; SOD rises
        MVI     A,40H
        SIM                     ; and falls, once and never again
        MVI     A,1
        STA     8010H           ; once, and never again
AGAIN:  OUT     40H
        STA     8012H           ; always the same
        INX     H
        JMP     AGAIN
"""
"""It writes all the time, so the trace holds the last second only."""


def _searches() -> Iterator[Row]:
    """What happened a minute ago, looked for from now."""
    for name, move in _SEARCHES.items():
        past = _after_a_minute("slate", assemble(_BUSY, "busy.asm").image)
        taken = _seconds(partial(move, past))
        yield Row(f"busy board: {name}", taken, "s", _MOST, True)


def _to_the_stop(text: str, past: History) -> None:
    stop = past.machine.stops.add(text)
    if not past.back_to_stop([stop]):
        raise RuntimeError("the stop was not found")


def _to_no_stop(text: str, past: History) -> None:
    stop = past.machine.stops.add(text)
    if past.back_to_stop([stop]):
        raise RuntimeError("a stop was found")


def _to_the_change(address: int, past: History) -> None:
    if past.back_to_change(address) is None:
        raise RuntimeError("the change was not found")


_SEARCHES: dict[str, Callable[[History], None]] = {
    "back to a stop of a minute ago": partial(_to_the_stop, "on MW at 8010"),
    "back to a line's fall of a minute ago": partial(_to_the_stop, "when SOD falls"),
    "back to a byte written a minute ago": partial(_to_the_stop, "on MW data 01"),
    "a byte that never went by": partial(_to_no_stop, "on any data 5A"),
    "back to a sequence of a minute ago": partial(_to_the_stop, "on MW at 8010 then on IOW at 40"),
    "back by a thousand hits of a stop": partial(_to_the_stop, "on IOW at 40 after 999"),
    "back to a change of a minute ago": partial(_to_the_change, 0x8010),
    "a byte written over ever since": partial(_to_the_change, 0x8012),
    "back 10 million cycles": lambda past: _counted(past.back_cycles(10_000_000)),
}


def _counted(found: bool) -> None:
    if not found:
        raise RuntimeError("there were not so many cycles")


def _after_a_minute(board: str, image: Image | None = None) -> History:
    machine = Machine.from_board(board)
    machine.load(image or machine.board.firmware or "")
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
