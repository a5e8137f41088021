"""Rows of the benchmark's table, and the machine they were taken on."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that was measured.

    Attributes:
        what: in a few words.
        measured: the value in ``unit``.
        wanted: the bar in ``unit``, or None where there is none.
        most: the bar is the most that is allowed instead of the least.
        note: what else was seen.
    """

    what: str
    measured: float
    unit: str
    wanted: float | None = None
    most: bool = False
    note: str = ""

    @property
    def ratio(self) -> float | None:
        """How far the bar is passed: 1 is just met, more is better."""
        if self.wanted is None:
            return None
        return self.wanted / self.measured if self.most else self.measured / self.wanted


Measure = Callable[[], Iterator[Row]]


def machine() -> str:
    """The processor, its cores, and the versions that matter, on two lines."""
    versions = (f"{name} {metadata.version(name)}" for name in ("numpy", "numba"))
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{_processor()}, {os.cpu_count()} cores\n{', '.join((python, *versions))}"


def _processor() -> str:
    try:
        text = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except OSError:
        text = ""
    names = [line.partition(":")[2].strip() for line in text.splitlines() if "model name" in line]
    return names[0] if names else platform.processor() or platform.machine()


def head() -> str:
    """The table's head."""
    return f"{'what':<46} {'measured':>12} {'wanted':>14} {'ratio':>6}  met"


def line(row: Row) -> str:
    """One row as text."""
    wanted, ratio, met = "", "", ""
    if row.wanted is not None and row.ratio is not None:
        wanted = f"{'<=' if row.most else '>='} {_value(row.wanted, row.unit)}"
        ratio = f"{row.ratio:.2f}"
        met = "yes" if row.ratio >= 1 else "NO"
    text = f"{row.what:<46} {_value(row.measured, row.unit):>12} {wanted:>14} {ratio:>6}  {met:<3}"
    return f"{text}  {row.note}".rstrip()


def _value(value: float, unit: str) -> str:
    digits = 0 if value >= 100 else 1 if value >= 10 else 2
    return f"{value:.{digits}f} {unit}"
