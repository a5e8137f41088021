"""The benchmark runs, prints its table and ends well whatever it finds."""

import os
import subprocess
import sys
from pathlib import Path

from tests.bench.programs import COMPUTE, NEAR_MISSES, STOPS, machine
from tests.bench.report import Row, line


def test_one_measure_can_be_run_and_a_wrong_name_is_told() -> None:
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "polling", "lightning"],
        capture_output=True,
        text=True,
        check=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    )
    assert "no measure lightning; there are compute, polling," in done.stdout
    assert "polling a published port" in done.stdout
    assert "compute, trace" not in done.stdout
    assert done.stderr == ""


def test_a_bar_is_met_or_not() -> None:
    assert " 1.50  yes" in line(Row("speed", 15.0, "x", 10.0))
    assert " 0.50  NO" in line(Row("speed", 5.0, "x", 10.0))
    assert " 2.00  yes" in line(Row("start", 0.5, "s", 1.0, most=True))
    assert " 0.50  NO" in line(Row("start", 2.0, "s", 1.0, most=True))


def test_the_compute_loop_computes_and_the_stops_do_not_hit() -> None:
    board = machine(COMPUTE, trace=1000)
    for text in (*STOPS, *NEAR_MISSES):
        board.stops.add(text)
    board.stops.add("on MW at 8023")  # the product is stored: one round is done
    assert [stop.number for stop in board.run(t_states=1_000_000).stops] == [21]

    seeds, value = [], 1
    for _ in range(32):
        value = (5 * value + 17) % 256
        seeds.append(value)
    assert list(board.memory[0x8000:0x8020]) == sorted(seeds)
    low, high = sorted(seeds)[:2]
    assert int.from_bytes(board.memory[0x8022:0x8024], "little") == low * high
    assert not list(board.findings)
