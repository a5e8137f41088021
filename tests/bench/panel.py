"""The lamp panel with the board at real time: frames drawn, and how much of a core it takes."""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from emu85.console.panel.application import FRAMES
from tests.bench.report import Row
from tests.console.screens import SIZES, Screened

_SECONDS = 10.0
_WARM_UP = 2.0
# Counts frames, and says at the end how many there were, in how many seconds of the wall
# clock and of the processor.
_COUNTING = """
import json, sys, time
import emu85.console.panel.application as application
from emu85.cli import main

drawn = application.picture
frames = []

def picture(*arguments):
    frames.append((time.perf_counter(), time.process_time(), arguments[0].t))
    return drawn(*arguments)

application.picture = picture
file = sys.argv.pop(1)
status = main(sys.argv[1:])
with open(file, "w") as out:
    json.dump(frames, out)
sys.exit(status)
"""


def panel() -> Iterator[Row]:
    """Where there are pseudo-terminals, at both sizes that are looked at."""
    if sys.platform == "win32":
        return
    for columns, rows in SIZES:
        yield from _measured(columns, rows)


def _measured(columns: int, rows: int) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "frames.json"
        command = ["-c", _COUNTING, str(file), "run", "--panel", "--board", "saltmarsh"]
        screened = Screened(command, columns, rows, Path(folder) / "state")
        try:
            screened.wait_for("HELD")
            screened.type(" ")
            end = time.monotonic() + _WARM_UP + _SECONDS
            while time.monotonic() < end:
                screened.read()
            screened.type("q")
            screened.wait_for("emu85>")
            screened.type("quit\r")
            screened.ended()
        finally:
            screened.close()
        frames = json.loads(file.read_text())
    last = frames[-1]
    first = next(one for one in frames if one[0] > last[0] - _SECONDS)
    wall, processor, t_states = (b - a for a, b in zip(first, last, strict=True))
    count = frames.index(last) - frames.index(first)
    size = f"{columns} x {rows}"
    yield Row(f"lamp panel, {size}: frames a second", count / wall, "", 0.9 * FRAMES, False)
    yield Row(f"lamp panel, {size}: share of a core", processor / wall, "", 1, True)
    yield Row(f"lamp panel, {size}: board time to real time", t_states / 3_072_000 / wall, "", 0.99)
