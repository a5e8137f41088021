"""Firmware that waits for a bit of an input port, or writes an output port all the time."""

from __future__ import annotations

from collections.abc import Iterator

from tests.bench.clock import multiple
from tests.bench.programs import POLL, WRITE, machine
from tests.bench.report import Row


def polling() -> Iterator[Row]:
    """IN, ANI, JZ: on a port that a device answers in Python, and on a published one.

    INR, OUT, JMP: on a port that a device takes in Python, and on one that is only kept.
    """
    live = multiple(machine(POLL.format(port="20H")), 2_000_000)
    yield Row("polling a port answered in Python", live, "x", 10)
    published = multiple(machine(POLL.format(port="21H")), 40_000_000)
    yield Row("polling a published port", published, "x", 100)
    taken = multiple(machine(WRITE.format(port="30H")), 2_000_000)
    yield Row("writing a port taken in Python", taken, "x", 5)
    kept = multiple(machine(WRITE.format(port="31H")), 40_000_000)
    yield Row("writing a port that is only kept", kept, "x", 100)
