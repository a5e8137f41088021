"""The budget as JSON, for other programs."""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from emu85.timing.budget import Budget, Place, Sum
from emu85.timing.budget_text import DEFER

FORMAT = 1
"""Goes up when a reader of an older one would misunderstand."""


def write_json(budget: Budget) -> str:
    """The budget's text: UTF-8, keys in a fixed order, a line end at its end.

    Times are in ns, frequencies in Hz; "waits needed" is null where no wait state helps, a
    fastest crystal where the part is made for none that is slow enough.
    """
    whole: dict[str, Any] = {
        "format": FORMAT,
        "board": budget.board,
        "part": budget.part.name,
        "crystal Hz": float(budget.crystal),
        "T ns": float(budget.t),
        "part is made for this clock": budget.within_part,
        "suffices": budget.suffices,
        "fastest crystal Hz": _number(budget.fastest_crystal),
        "delays ns": _numbers(budget.delays),
        "places": [_place(budget, place) for place in budget.places],
        "board itself": [_sum(one) for one in budget.board_sums],
        "not stated": list(budget.unstated),
        "without times": list(budget.untimed),
        "source": budget.part.source,
        "note": DEFER,
    }
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _place(budget: Budget, place: Place) -> dict[str, Any]:
    return {
        "name": place.name,
        "about": place.about,
        "where": place.where,
        "on AD0-AD7 itself": place.latched,
        "not stated": list(place.missing),
        "waits": place.waits,
        "waits needed": place.waits_needed,
        "suffices": place.suffices,
        "limited by": place.tightest.path.name,
        "fastest crystal Hz": _number(budget.fastest_of(place)),
        "paths": [_sum(one) for one in place.sums],
    }


def _sum(one: Sum) -> dict[str, Any]:
    return {
        "path": one.path.name,
        "limits": {limit.symbol: limit.formula for limit in one.limits},
        "CPU gives ns": float(one.given),
        "delays ns": _numbers(one.delays),
        "not stated": list(one.unstated),
        one.time_of + " ns": float(one.time),
        "needed ns": float(one.needed),
        "slack ns": float(one.slack),
        "waits needed": one.waits_needed,
    }


def _numbers(times: Mapping[str, Fraction]) -> dict[str, float]:
    return {key: float(ns) for key, ns in times.items()}


def _number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)
