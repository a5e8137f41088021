"""The limit of a console line is a T-state, whatever the computer's speed.

T-states by hand: 3 of reset, LXI 10, CALL 18, so ``FOREVER`` begins at 31; its JMP takes
an opcode fetch of 4 and two reads of 3, so machine cycles end at 31 + 10 n, 35 and 38.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count, cycle
from pathlib import Path

import pytest

from emu85.console.throttle import Throttle
from emu85.rehearsal import read_script, set_up
from emu85.rehearsal.performance import Performance
from emu85.rehearsal.verdict import Step
from tests.rehearsal.stage import HEADING, lay_out, write

ENDLESS = """
        ORG 0
        LXI SP,8400H
        CALL FOREVER
NEVER:  NOP
FOREVER: JMP FOREVER
        END
"""
HALTS = "\n ORG 0\n LXI SP,8400H\n EI\n HLT\n END\n"

_TICKS: dict[str, Callable[[], Iterator[float]]] = {
    "slow": lambda: count(0.0, 5.0),
    "fast": lambda: count(0.0, 1e-7),
    "uneven": lambda: _sums(cycle([1e-6, 3.0, 1e-9, 0.02, 7e-4])),
    "standing": lambda: cycle([0.0]),
}
"""Wall clocks of computers of different speed, a reading each time one is asked."""


def _sums(steps: Iterator[float]) -> Iterator[float]:
    now = 0.0
    for step in steps:
        now += step
        yield now


def steps_of(folder: Path, body: str, limit: str, ticks: Iterator[float] | None) -> list[Step]:
    """The lines performed; with slices sized by a wall clock if one is given."""
    script = read_script(write(folder, body, f"{HEADING}limit: {limit}\n"))
    performance = Performance(script, set_up(script))
    if ticks is not None:
        clock_hz = performance.machine.clock_hz
        performance.session.throttle = Throttle(None, clock_hz, lambda: next(ticks))
    return list(performance.steps())


ENDLESS_LINES = [
    "run",
    "run until NEVER",
    "step 999999",
    "step instruction 999999",
    "stop on IOW\nrun",
    "at 38 run",
]


@pytest.mark.parametrize("ticks", [None, *_TICKS])
@pytest.mark.parametrize("body", ENDLESS_LINES)
def test_what_never_ends_is_given_up_at_one_t_state(
    body: str, ticks: str | None, tmp_path: Path
) -> None:
    lay_out(tmp_path, ENDLESS)
    clock = None if ticks is None else _TICKS[ticks]()
    last = steps_of(tmp_path, body, "60001 T", clock)[-1]
    began = 38 if body.startswith("at") else 3
    # The first end of a machine cycle that is not before the limit.
    ends = (31 + 10 * n + part for n in range(10_000) for part in (0, 4, 7))
    assert last.t == next(t for t in ends if t >= began + 60_001)
    (difference,) = last.differences
    assert "it still runs after 60001 T" in difference.note


def test_a_call_that_does_not_return(tmp_path: Path) -> None:
    lay_out(tmp_path, ENDLESS)
    last = steps_of(tmp_path, "step instruction\nstep past", "1000 T", None)[-1]
    assert last.t == 1015  # set out from 13; 1011 + 4 is the first end at or after 1013
    assert "it still runs after 1000 T" in last.differences[0].note


@pytest.mark.parametrize("ticks", [None, *_TICKS])
@pytest.mark.parametrize(("limit", "ends"), [(999, 1005), (998, 1001)])
def test_a_stop_just_within_the_limit(
    limit: int, ends: int, ticks: str | None, tmp_path: Path
) -> None:
    """The 98th opcode fetch of the JMP begins at 31 + 970 and ends at 1005.

    A machine cycle that has begun when the limit is over is done; 3 + 999 is within the
    fetch, and 3 + 998 is its beginning.
    """
    lay_out(tmp_path, ENDLESS)
    clock = None if ticks is None else _TICKS[ticks]()
    body = "stop on OF at FOREVER after 97\nrun\nsee held by stop 1"
    steps = steps_of(tmp_path, body, f"{limit} T", clock)
    assert steps[1].t == ends
    assert bool(steps[1].differences) is (limit == 998)


def test_lines_that_say_how_long_are_not_limited(tmp_path: Path) -> None:
    lay_out(tmp_path, ENDLESS)
    body = "run for 50 ms\nback to 1 ms\nforth\nwait 10 ms\nreach NEVER within 1 ms"
    steps = steps_of(tmp_path, body, "100 T", None)
    assert [bool(step.differences) for step in steps] == [False] * 4 + [True]
    # At least 3 + 50 ms of 6.144 MHz: machine cycles end at 31 + 10 n, and 4 and 7 later.
    assert [steps[0].t, steps[2].t] == [307_205, 307_205]


def test_a_halt_is_no_run_without_end(tmp_path: Path) -> None:
    lay_out(tmp_path, HALTS)
    assert not any(step.differences for step in steps_of(tmp_path, "step 3\nrun", "99 T", None))


def test_the_machine_has_no_bound_afterwards(tmp_path: Path) -> None:
    lay_out(tmp_path, ENDLESS)
    script = read_script(write(tmp_path, "run", f"{HEADING}limit: 500 T\n"))
    machine = set_up(script)
    list(Performance(script, machine).steps())
    t = machine.t
    machine.run(t_states=5000)
    assert machine.t >= t + 5000
