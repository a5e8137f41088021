"""The console's ``wave``."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from emu85.console.suggest import suggestions
from emu85.errors import UserError
from tests.console.bench import Bench

# RESET takes 3 T-states, MVI 7, STA 13: the write begins at 20 and the OUT at 23.
PROGRAM = """
        ORG     0
        MVI     A,5AH
        STA     8000H
        OUT     40H
        HLT
"""


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    bench = Bench("slate", PROGRAM, tmp_path)
    bench.do("step 6")
    return bench


def test_the_last_machine_cycles(slate: Bench) -> None:
    """By hand from the write cycle's figure."""
    drawn = slate.do("wave 1").splitlines()
    assert drawn[:-1] == [
        "T 20      |MW 8000 5A",
        "          T1    T2    T3",
        "CLK       ___/--\\__/--\\__/--",
        "ALE       ---\\______________",
        "A8-A15    X80===============",
        "AD0-AD7   X00===X5A=========",
        "IO/M      __________________",
        "S1        __________________",
        "S0        ------------------",
        "RD        ------------------",
        "WR        ------\\________/--",
        "INTA      ------------------",
        "READY     ------------------",
    ]
    assert "high" in drawn[-1] and "floating" in drawn[-1]


def test_three_of_them_if_nothing_is_said_and_no_more_than_there_are(slate: Bench) -> None:
    assert slate.do("wave") == slate.do("wave 3")
    assert slate.do("wave").splitlines()[0].count("|") == 3
    assert slate.do("wave 500") == slate.do("wave 7")


def test_chosen_pins(slate: Bench) -> None:
    drawn = slate.do("wave 1 pins rst7.5 WR").splitlines()
    assert [line[:10].strip() for line in drawn[2:-1]] == ["WR", "RST 7.5"]
    with pytest.raises(UserError, match=r"no pin 'WRR'.*did you mean 'WR'"):
        slate.do("wave 1 pins WRR")


@pytest.mark.parametrize(
    ("written", "pins"),
    [
        ("RST 7.5", ["RST 7.5"]),
        ("reset out WR", ["WR", "RESET OUT"]),
        ("ALE,AD0-AD7, RST 7.5,RESET OUT", ["ALE", "AD0-AD7", "RST 7.5", "RESET OUT"]),
        ("ALE , rst5.5", ["ALE", "RST 5.5"]),
        ("'RST 6.5' SOD", ["RST 6.5", "SOD"]),
    ],
)
def test_names_of_pins_with_blanks_and_commas(slate: Bench, written: str, pins: list[str]) -> None:
    drawn = slate.do(f"wave 1 pins {written}").splitlines()
    assert [line[:10].strip() for line in drawn[2:-1]] == pins


def test_a_name_that_is_refused_is_recommended_as_it_can_be_said(slate: Bench) -> None:
    with pytest.raises(UserError, match=r"no pin 'RST'.*RST 7\.5.*did you mean 'RST \d\.5'"):
        slate.do("wave 1 pins RST")


def test_pins_before_the_file(slate: Bench, tmp_path: Path) -> None:
    slate.do(f"wave 1 pins ALE, RST 7.5 to {tmp_path / 'a.svg'}")
    slate.do(f"wave 1 to {tmp_path / 'b.svg'} pins ALE RST 7.5")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    with pytest.raises(UserError, match="no pin 'to'"):
        slate.do("wave 1 pins to q.svg")


def test_pins_are_offered_by_one_spelling(slate: Bench) -> None:
    def offered(line: str) -> list[str]:
        return [one.text for one in suggestions(line, slate.session.forms, slate.session.context)]

    assert offered("wave 1 pins WR RST 7") == offered("wave 1 pins RST 7") == ["RST 7.5"]
    assert offered("wave 1 pins AL") == ["ALE"]
    assert {"RESET OUT", "to"} < set(offered("wave 1 pins ALE "))


def test_files_by_their_suffix(slate: Bench, tmp_path: Path) -> None:
    for suffix in ("svg", "txt", "vcd"):
        said = slate.do(f"wave 2 to {tmp_path / f'a.{suffix}'}")
        assert said == f"a.{suffix}: 2 machine cycles, 6 T-states\n"
    assert ET.parse(tmp_path / "a.svg").getroot().tag.endswith("svg")
    assert (tmp_path / "a.txt").read_text().startswith("T 17      |MR")
    assert "#10000000\n" in (tmp_path / "a.vcd").read_text()  # the write: 20 T-states of 500 ns
    slate.do(f"wave 1 to {tmp_path / 'b.svg'} pins ALE")
    texts = [one.text for one in ET.parse(tmp_path / "b.svg").getroot().iter()]
    assert "ALE" in texts and "WR" not in texts
    with pytest.raises(UserError, match=r"'a\.png' does not say what to draw.*\.svg, \.vcd"):
        slate.do(f"wave 2 to {tmp_path / 'a.png'}")


def test_what_is_too_long_is_refused_and_a_dump_is_not(slate: Bench, tmp_path: Path) -> None:
    slate.do("put mem 0000 C3 00 00", "put PC 0", "run for 20 ms")
    with pytest.raises(UserError, match="too many to be drawn; expected at most 1000, or a file"):
        slate.do("wave 1001")
    assert "1001 machine cycles" in slate.do(f"wave 1001 to {tmp_path / 'long.vcd'}")
