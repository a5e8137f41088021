"""The benchmark runs, prints its table and ends well whatever it finds."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from emu85.board import fit, read_board
from emu85.board.schedule import NEVER
from tests.bench.gantry import at_rest, bare_board
from tests.bench.programs import COMPUTE, NEAR_MISSES, STOPS, machine
from tests.bench.report import Row, line
from tests.bench.usart import CASES, Case, echoing


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


def test_the_backplane_is_bare_and_at_rest_as_said() -> None:
    bare = fit(read_board(bare_board(), "bare.yaml"))
    assert bare.devices == {}
    assert [(r.chip, r.low, r.high) for r in bare.memory_map() if r.chip] == [
        ("monitor", 0x0000, 0x3FFF),
        ("keep", 0x7000, 0x77FF),
        ("work", 0x8000, 0xFFFF),
    ]
    still = at_rest(tick=False)
    still.run(seconds=0.01)  # the last character goes out
    assert still.schedule.next_t == NEVER  # nothing polls
    ticking = at_rest(tick=True)
    half = 1536 * 10  # CPU clock / 100 Hz / 2
    assert 0 <= ticking.schedule.next_t - ticking.t <= half


@pytest.mark.parametrize("case", CASES, ids=[case.what for case in CASES])
def test_nothing_is_lost_on_a_full_line(case: Case) -> None:
    assert echoing(case, seconds=0.2, runs=1) > 0
