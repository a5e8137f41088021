"""Levels in comma-separated text: headings, columns, times, and what is wrong with them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from emu85.board.levels import Even, Timed, read_levels
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench

LISTS = {
    "a column of levels": ("10\n2F\n\nFF\n", (0x10, 0x2F, 0xFF), None),
    "levels in other bases": ("10H\n128D\n377Q\n11110000B\n", (0x10, 128, 255, 0xF0), None),
    "a heading": ("level\n10\n20\n", (0x10, 0x20), None),
    "a heading with quotes and a mark of the byte order": (
        '\ufeff"t","level"\n0,10\n1,20\n',
        (0x10, 0x20),
        (0, 1),
    ),
    "seconds without a heading": ("0,10\n 0.5 , 20\n", (0x10, 0x20), (0, Fraction(1, 2))),
    "times with their units": (
        "0 s,10\n250 ms,20\n1e0,30\n",
        (0x10, 0x20, 0x30),
        (0, Fraction(1, 4), 1),
    ),
    "a unit in the heading": (
        "time (ms),level\n0,10\n5,20\n",
        (0x10, 0x20),
        (0, Fraction(1, 200)),
    ),
    "a heading that is a unit": ("us,value\n0,10\n5,20\n", (0x10, 0x20), (0, Fraction(1, 200_000))),
    "columns in another order": (
        "level,volts,seconds\n10,0.1,0\n20,0.2,3\n",
        (0x10, 0x20),
        (0, 3),
    ),
    "no column that is a time": ("minute,degrees,level\n0,22,04\n15,62,0C\n", (4, 0x0C), None),
    "letters that are numbers are no heading": ("AD\nBE\n", (0xAD, 0xBE), None),
}


@pytest.mark.parametrize(("text", "levels", "moments"), LISTS.values(), ids=LISTS.keys())
def test_files(
    tmp_path: Path, text: str, levels: tuple[int, ...], moments: tuple[Fraction, ...] | None
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text, "utf-8")
    found = read_levels(path)
    assert (found.levels, found.moments) == (levels, moments)


MISTAKES = {
    "a unit of time that is none": ("time (min),level\n0,10\n", ":1:1: no unit of 'time (min)'"),
    "a table without levels": ("seconds,volts\n0,10\n", ":1:9: none of the columns is one of"),
    "a first row with one bad cell": ("0,1G\n1,20\n", ":1:3: '1G' is not a number"),
    "a first row that begins with a digit": ("1G\n20\n", ":1:1: '1G' is not a number"),
    "a later row": ("level\n10\n2x\n", ":3:1: '2x' is not a number"),
    "a second heading": ("t,level\n0,10\nt,level\n", ":3:3: 'level' is not a number"),
    "a level too large": ("0,10\n1,  2FF\n", ":2:5: 2FF is too large; expected a hexadecimal"),
    "a time that is none": ("0,10\nx,20\n", ":2:1: 'x' is not a time; expected a number, as 0.25"),
    "a time that goes back": ("0,10\n2,20\n1,30\n", ":3:1: the time is before that of the row"),
    "a time too large": ("0,10\n1e99,20\n", ":2:1: 1e99 is out of range"),
    "a time below zero": ("-1,10\n", ":1:1: '-1' is not a time"),
    "a short row": ("0,10\n20\n", ":2:1: the row has 1 cells and the first 2"),
    "an empty cell": ("0,10\n1,\n", ":2:3: '' is not a number"),
    "times alone": ("seconds\n0\n1\n", ":1:1: none of the columns is one of levels"),
}


@pytest.mark.parametrize(("text", "told"), MISTAKES.values(), ids=MISTAKES.keys())
def test_mistakes_have_file_line_and_column(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(UserError) as caught:
        read_levels(path)
    assert str(caught.value).startswith(f"{path}{told}")


def test_what_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"10\n\xff\xfe\n")
    with pytest.raises(UserError, match=r"the levels in a\.csv are not UTF-8 text"):
        read_levels(path)


def test_levels_begin_at_the_nearest_t_state() -> None:
    """Moments 0, 2.5 and 4.4 with 3.2 for the last: starting over at 7.6, 10.1, 12.0."""
    moments = (Fraction(0), Fraction(5, 2), Fraction(22, 5))
    again = Timed((1, 2, 3), moments, Fraction(16, 5), again=True)
    assert [again.at(t) for t in range(14)] == [1, 1, 1, 2, 3, 3, 3, 3, 1, 1, 2, 2, 3, 3]
    once = Timed((1, 2, 3), moments, Fraction(16, 5), again=False)
    assert [once.at(t) for t in range(9)] == [1, 1, 1, 2, 3, 3, 3, 3, 3]
    late = Timed((1, 2), (Fraction(2), Fraction(4)), Fraction(1), again=False)
    assert [late.at(t) for t in range(6)] == [1, 1, 1, 1, 2, 2]
    even = Even((1, 2, 3), Fraction(5, 2), again=True)
    assert [even.at(t) for t in range(9)] == [1, 1, 1, 2, 2, 3, 3, 3, 1]


def test_what_a_dac_has_saved_feeds_a_converter(tmp_path: Path) -> None:
    """What came out at each T-state goes in again at the same, with another clock too."""
    out = Bench(MINIMAL + "ports:\n  - {device: dac, at: 40}\n")
    steps = {0: 0x00, 101: 0x3C, 107: 0xFF, 30_001: 0x99}
    for t, value in steps.items():
        out.run_to(t)
        out.port_out(0x40, value)
    out.board.adjust("dac", "save", str(tmp_path / "out.csv"))
    text = MINIMAL + "ports:\n  - {device: converter, at: 18, file: out.csv, convert: 1 us}\n"
    for factor in (1, 2):
        faster = text.replace("crystal: 4 MHz", f"crystal: {4 * factor} MHz")
        for t, value in steps.items():
            bench = Bench(faster, str(tmp_path / "b.yaml"))
            bench.run_to(factor * t)
            bench.port_out(0x18, 0)
            bench.run_to(factor * t + 10)
            assert bench.port_in(0x18) == value
