"""The report as JSON, for other programs."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from emu85.burn.areas import WORDS
from emu85.burn.report import CAUTIONS, Report, RunRow
from emu85.burn.verdict import CheckDone, Result

FORMAT = 1
"""Goes up when a reader of an older one would misunderstand."""


def write_json(report: Report) -> str:
    """The report's text: UTF-8, keys in a fixed order, a line end at its end.

    Addresses are four hexadecimal digits, sums as many as they have; counts are numbers.
    """
    whole: dict[str, Any] = {
        "format": FORMAT,
        "verdict": report.verdict,
        "fit": report.is_fit,
        "note": report.unreached or None,
        "image": report.image,
        "board": report.board,
        "chip": report.wanted_part or None,
        "fill": f"{report.fill:02X}",
        "chips": [asdict(chip) for chip in report.chips],
        "chips together": dict(report.together) or None,
        "vectors": [asdict(row) | {"address": f"{row.address:04X}"} for row in report.vectors],
        "areas": [
            {"from": f"{area.low:04X}", "to": f"{area.high:04X}", "use": WORDS[area.use]}
            for area in report.areas
        ],
        "unknown targets": list(report.unknown),
        "no way back": list(report.unfollowed),
        "run": _run(report.run) if report.run else None,
        "checks": [_check(check) for check in report.checks],
        "cautions": list(CAUTIONS),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def _run(run: RunRow) -> dict[str, Any]:
    return {
        "about": run.about,
        "t_states": run.t_states,
        "machine_cycles": run.records,
        "complete": run.complete,
        "code_bytes": run.code,
        "executed_bytes": run.executed,
        "not_executed": [
            {"from": f"{one.low:04X}", "to": f"{one.high:04X}", "symbol": one.symbol or None}
            for one in run.missed
        ],
        "stacks": [
            {
                "from": f"{one.low:04X}",
                "to": f"{one.high:04X}",
                "deepest": f"{one.deepest:04X}",
                "used": one.used,
                "left": one.left,
            }
            for one in run.stacks
        ],
        "interrupts": [
            {
                "line": one.line,
                "served": one.served,
                "longest_wait": one.worst,
                "before_ei": one.disabled,
                "at_t": one.worst_t,
                "first": f"{one.first:04X}",
                "pending": one.pending,
                "lost": one.lost,
                "longest_lost": one.longest_lost,
                "masked": one.masked,
            }
            for one in run.latencies
        ],
    }


def _check(check: CheckDone) -> dict[str, Any]:
    return {
        "name": check.name,
        "about": check.about,
        "result": check.result.word,
        "why": check.why or None,
        "notes": [
            {
                "text": note.text,
                "fault": note.result is Result.FAULT,
                "meant": note.is_meant,
                "at": note.at or None,
                "symbol": note.symbol or None,
                "line": note.line or None,
            }
            for note in check.notes
        ],
    }
