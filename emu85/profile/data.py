"""The report as JSON, for other programs."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from emu85.profile.report import InterruptRow, LabelRow, Report, RoutineRow

FORMAT = 1
"""Goes up when a reader of an older one would misunderstand."""


def write_json(report: Report) -> str:
    """The report's text: UTF-8, keys in a fixed order, a line end at its end.

    Addresses are four hexadecimal digits, ports two; counts and T-states are numbers.
    """
    figures, counts = report.figures, report.figures.routines
    whole: dict[str, Any] = {
        "format": FORMAT,
        "board": report.board,
        "firmware": report.firmware,
        "about": report.about,
        "not as expected": list(report.failures),
        "note": figures.note,
        "complete": figures.complete,
        "clock Hz": report.clock_hz,
        "from T": figures.start_t,
        "to T": figures.end_t,
        "T-states": report.t_states,
        "machine cycles": counts.records,
        "cycles of another bus master": counts.master_cycles,
        "halted": counts.halt_t,
        "on hold": counts.hold_t,
        "wait states": counts.wait_t,
        "wait states of": {row.name: row.t_states for row in report.waits},
        "routines": [_routine(row) for row in report.routines],
        "labels": [_label(row) for row in report.labels],
        "interrupts": [_interrupt(row) for row in report.interrupts],
        "ports": [row._asdict() | {"port": f"{row.port:02X}"} for row in report.ports],
        "executed bytes": report.executed,
        "bytes of instructions": report.code,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def _routine(row: RoutineRow) -> dict[str, Any]:
    spent = row.spent
    return {
        "name": row.name,
        "address": f"{spent.address:04X}",
        "begun by": spent.begun.text or "call",
        "calls": spent.calls,
        "own T": spent.own,
        "halted or on hold": spent.idle,
        "with callees T": spent.whole,
        "over": spent.over,
        "not by RET": spent.left,
        "least T": spent.least if spent.over else None,
        "mean T": spent.mean if spent.over else None,
        "most T": spent.most if spent.over else None,
    }


def _label(row: LabelRow) -> dict[str, Any]:
    at = f"{row.address:04X}"
    to = None if row.last is None else f"{row.last:04X}"
    return {"address": at, "to": to, "name": row.name, "times": row.times, "T": row.t_states}


def _interrupt(row: InterruptRow) -> dict[str, Any]:
    data = row._asdict()
    if row.latency is not None:
        data["latency"] = asdict(row.latency)
    return data
