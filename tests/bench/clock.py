"""How times are taken: the best of several short runs, since others use the machine too."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from emu85.machine import Machine

RUNS = 9


def best(action: Callable[[], object], runs: int = RUNS) -> float:
    """The shortest of several times that ``action`` takes, in seconds."""
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        action()
        times.append(time.perf_counter() - begin)
    return min(times)


def multiple(machine: Machine, t_states: int, runs: int = RUNS) -> float:
    """Board time through wall time of a run of so many T-states, at its best."""
    reached = []

    def run() -> None:
        begin = machine.t
        machine.run(t_states=t_states)
        reached.append(machine.t - begin)

    seconds = best(run, runs)
    if min(reached) < t_states:
        raise RuntimeError("the machine was held before the end of the run")
    return t_states / machine.clock_hz / seconds


def side_by_side(machines: Sequence[Machine], t_states: int, runs: int = RUNS) -> list[float]:
    """The same for several machines in turn, so that a busy spell hits them all alike."""
    reached = [0.0] * len(machines)
    for _ in range(runs):
        for number, machine in enumerate(machines):
            reached[number] = max(reached[number], multiple(machine, t_states, 1))
    return reached
