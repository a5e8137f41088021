"""``python -m tests.bench [NAME...]``: run the measures and print a table."""

from __future__ import annotations

import sys

from tests.bench.compute import compute
from tests.bench.firmware import firmware
from tests.bench.gantry import gantry
from tests.bench.history import history
from tests.bench.memory import memory
from tests.bench.panel import panel
from tests.bench.polling import polling
from tests.bench.profiling import profiling
from tests.bench.query import query
from tests.bench.rehearsing import rehearsing
from tests.bench.report import Measure, head, line, machine
from tests.bench.starts import first_start, later_start
from tests.bench.usart import usart

MEASURES: dict[str, Measure] = {
    "compute": compute,
    "polling": polling,
    "firmware": firmware,
    "gantry": gantry,
    "usart": usart,
    "query": query,
    "profile": profiling,
    "history": history,
    "rehearse": rehearsing,
    "panel": panel,
    "first-start": first_start,
    "later-start": later_start,
    "memory": memory,
}


def main(names: list[str]) -> None:
    """Run the named measures, or all of them; one that fails is told and passed over."""
    unknown = [name for name in names if name not in MEASURES]
    if unknown:
        print(f"no measure {', '.join(unknown)}; there are {', '.join(MEASURES)}")
    print(f"{machine()}\n\n{head()}")
    for name in names or MEASURES:
        if name in MEASURES:
            _print(name, MEASURES[name])


def _print(name: str, measure: Measure) -> None:
    try:
        for row in measure():
            print(line(row), flush=True)
    except Exception as error:  # the others are still worth having
        print(f"{name}: could not be measured: {error}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
