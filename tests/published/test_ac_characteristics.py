"""The formulas of the AC table against the numbers that the data sheet prints at its own clock.

Source: 8085AH/8085AH-2/8085AH-1 data sheet, "A.C. characteristics", columns of the three parts, at
tCYC = 320, 200 and 167 ns; for the 8085A and 8085A-2 the same table in the MCS-80/85 Family User's
Manual (October 1979).  Typed by hand, apart from the formulas: value from memory.

At 167 ns half a period is no whole number; the data sheet leaves the half nanosecond out.
"""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction

import pytest

from emu85.errors import UserError
from emu85.timing.ac_table import PARTS, ROWS, Timing, part_named

CLOCKS = {"8085AH": 320, "8085AH-2": 200, "8085AH-1": 167, "8085A": 320, "8085A-2": 200}

PRINTED = {
    "t1": (80, 40, 20),
    "t2": (120, 70, 50),
    "tr": (30, 30, 30),
    "tf": (30, 30, 30),
    "tXKR min": (20, 20, 20),
    "tXKR": (120, 100, 100),
    "tXKF min": (20, 20, 20),
    "tXKF": (150, 110, 110),
    "tAC": (270, 115, 70),
    "tACL": (240, 115, 60),
    "tAD": (575, 350, 225),
    "tAFR": (0, 0, 0),
    "tAL": (115, 50, 25),
    "tALL": (90, 50, 25),
    "tARY": (220, 100, 40),
    "tCA": (120, 60, 30),
    "tCC": (400, 230, 150),
    "tCL": (50, 25, 0),
    "tDW": (420, 230, 140),
    "tHABE": (210, 150, 150),
    "tHABF": (210, 150, 150),
    "tHACK": (110, 40, 0),
    "tHDH": (0, 0, 0),
    "tHDS": (170, 120, 120),
    "tINH": (0, 0, 0),
    "tINS": (160, 150, 150),
    "tLA": (100, 50, 20),
    "tLC": (130, 60, 25),
    "tLCK": (100, 50, 15),
    "tLDR": (460, 270, 175),
    "tLDW": (200, 120, 110),
    "tLL": (140, 80, 50),
    "tLRY": (110, 30, 10),
    "tRAE": (150, 90, 50),
    "tRD": (300, 150, 75),
    "tRV": (400, 220, 160),
    "tRDH": (0, 0, 0),
    "tRYH": (0, 0, 5),
    "tRYS": (110, 100, 100),
    "tWD": (100, 60, 30),
    "tWDL": (40, 20, 30),
}
"""tLDW of the 8085AH-2 is recalled as 120 and as 140; 120 is the stricter and fits tLC and tWDL."""

OLDER = {"tXKR min": 30, "tXKF min": 30}
"""The 8085A and 8085A-2, where they differ from the H parts (value from memory)."""


def printed(part: str) -> dict[str, int]:
    column = {"8085AH": 0, "8085A": 0, "8085AH-2": 1, "8085A-2": 1, "8085AH-1": 2}[part]
    own = {symbol: numbers[column] for symbol, numbers in PRINTED.items()}
    return own if "H" in part else own | OLDER


@pytest.mark.parametrize("part", CLOCKS)
def test_formulas_give_the_printed_numbers(part: str) -> None:
    found = {
        symbol: math.floor(PARTS[part].ns(symbol, Fraction(CLOCKS[part])))
        for symbol in PARTS[part].limits
    }
    assert found == printed(part)


@pytest.mark.parametrize("part", CLOCKS)
def test_shortest_period_is_that_of_the_printed_numbers(part: str) -> None:
    assert (PARTS[part].t_cyc_min, PARTS[part].t_cyc_max) == (CLOCKS[part], 2000)
    assert round(2e9 / PARTS[part].crystal_max) == CLOCKS[part]


def test_each_wait_state_adds_a_period_to_five_limits_and_no_other() -> None:
    """The formulas with N in the data sheet: tAD, tRD, tDW, tCC, tLDR."""
    part = PARTS["8085AH"]
    t = Fraction(400)
    added = {symbol: part.ns(symbol, t, 3) - part.ns(symbol, t) for symbol in part.limits}
    assert {s: d for s, d in added.items() if d} == dict.fromkeys(
        ("tAD", "tRD", "tDW", "tCC", "tLDR"), 1200
    )


@pytest.mark.parametrize("part", CLOCKS)
@pytest.mark.parametrize("longer", [0, 100, 1000])
def test_limits_agree_with_each_other(part: str, longer: int) -> None:
    """Two limits that follow one another cannot take more time than the stretch they lie in."""
    t = CLOCKS[part] + longer
    at = PARTS[part].at(t)
    assert at.t_1 + at.t_r + at.t_2 + at.t_f <= t
    assert at.t_AC + at.t_RD <= at.t_AD
    assert at.t_AL + at.t_LC <= at.t_AC
    assert at.t_AL + at.t_LDR <= at.t_AD
    assert at.t_CC + at.t_RV <= 3 * t
    assert at.t_LL + at.t_LC + at.t_CC + at.t_CL <= 3 * t
    assert at.t_ALL + at.t_LC <= at.t_ACL


def test_every_symbol_has_its_attribute() -> None:
    attributes = {limit.attribute for limit in PARTS["8085AH"].limits.values()}
    assert attributes == {field.name for field in dataclasses.fields(Timing)}
    assert len(ROWS) == len(PRINTED)


def test_attributes_are_the_limits() -> None:
    """By hand, 8085AH at 325.52 ns with a wait state: tAD = 3.5 T - 225, tAL = T / 2 - 45."""
    at = part_named("8085ah").at(325.52, 1)
    assert at.t_AD == pytest.approx(914.32)
    assert at.t_AL == pytest.approx(117.76)
    assert at.t_RYS == 110


def test_a_formula_is_written_as_the_data_sheet_does() -> None:
    limits = PARTS["8085AH"].limits
    assert limits["tAD"].formula == "(5/2+N)T-225"
    assert limits["tHABF"].formula == "(1/2)T+50"
    assert limits["tRYS"].formula == "110"


def test_an_unknown_part_is_told_with_the_nearest() -> None:
    with pytest.raises(UserError) as told:
        part_named("8085AH-3")
    assert told.value.nearest in PARTS
    assert "8085AH-1" in told.value.expected
