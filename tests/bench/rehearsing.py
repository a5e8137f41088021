"""A minute of board time at 3.072 MHz, rehearsed."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from emu85.rehearsal import rehearse
from tests.bench.clock import best
from tests.bench.report import Row

MINUTE = r"""rehearsal: a minute at the tide gauge
board: saltmarsh
patience: 15 s
hear "tide> "
press key
run for 13 s
enter log
hear "logging, entries: 4\r\n"
hear "tide> "
enter level
hear "level ???\r\ntide> "
hear nothing for 20 s
enter time
hear "00:00:??\r\ntide> "
run for 26 s
see at least 60 s since power
see no findings
"""
"""Firmware that makes every bit of its serial line, ticks, converts and logs."""

IDLE = """rehearsal: a minute of counting
board: slate
limit: 120 s
run for 60 s
see no findings
"""
"""Firmware that computes all the time (of a 2 MHz board)."""

HARBOUR = """rehearsal: a minute of the harbour light
board: breakwater
limit: 120 s
run for 60 s
see no findings
"""
"""Two clocks of 5400 edges a second, each of them seen, and 1400 interrupts."""

DUMP = """rehearsal: a minute of a monitor's dump
board: gantry
firmware: quay-gantry.asm
limit: 120 s
hear "quay> "
enter give 0 FFFF
run for 59 s
see at least 59 s since power
"""
"""An 8251A sends characters one after another, 960 a second."""


def rehearsing() -> Iterator[Row]:
    """In this process, with the board and its firmware read anew, and as a command."""
    with tempfile.TemporaryDirectory() as folder:
        minute = _written(folder, "minute", MINUTE)
        yield Row("a minute of the tide gauge, rehearsed", _seconds(minute), "s", 2, True)
        idle = _written(folder, "idle", IDLE)
        yield Row("a minute of computing, rehearsed", _seconds(idle), "s", 2, True)
        yield Row("the tide gauge's minute as a command", _command(minute), "s", 2, True)
        for name, text in (("harbour light", HARBOUR), ("dump", DUMP)):
            path = _written(folder, name.replace(" ", "-"), text)
            yield Row(f"the {name}'s minute as a command", _command(path), "s", 2, True)


def _written(folder: str, name: str, text: str) -> Path:
    path = Path(folder) / f"{name}.rehearsal"
    path.write_text(text, encoding="utf-8")
    return path


def _seconds(path: Path) -> float:
    verdict = rehearse(path)
    if not verdict.passed or verdict.seconds < 60:
        raise RuntimeError(f"{path.name} did not pass: {verdict.differences}")
    return best(lambda: rehearse(path), 3)


def _command(path: Path) -> float:
    command = [sys.executable, "-m", "emu85", "rehearse", str(path)]
    times = []
    for _ in range(3):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True, env=dict(os.environ))
        times.append(time.perf_counter() - begin)
    return min(times)
