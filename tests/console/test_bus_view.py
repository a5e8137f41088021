"""The bus view; levels from the 8085A machine cycle chart, User's Manual, October 1979
(values from memory)."""

from typing import Any

import numpy as np
import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.console.views import bus
from emu85.console.views.places import Places

DTYPE = np.dtype(
    [
        ("t", "i8"),
        ("address", "u2"),
        ("data", "u1"),
        ("type", "u1"),
        ("lines", "u2"),
        ("waits", "u1"),
        ("interrupts", "u1"),
    ]
)


def record(
    cycle: Cycle, address: int, data: int, lines: Line = Line.READY, waits: int = 0, t: int = 1234
) -> Any:
    return np.array([(t, address, data, cycle, lines, waits, 0)], dtype=DTYPE)[0]


def row(one: Any, text: str = "") -> str:
    lines = bus.rows([one], 80, lambda _: text)
    assert len(lines) == 1
    return lines[0]


def test_a_row_shows_binary_and_hex() -> None:
    shown = row(record(Cycle.OF, 0x8A3C, 0x5E), "MOV E,M")
    assert "1000 1010 0011 1100 8A3C" in shown
    assert "0101 1110 5E" in shown
    assert shown.endswith("MOV E,M")
    assert shown.split()[:2] == ["1234", "OF"]


@pytest.mark.parametrize(
    ("cycle", "lines", "status"),
    [
        (Cycle.OF, Line(0), "011"),
        (Cycle.MR, Line(0), "010"),
        (Cycle.MW, Line(0), "001"),
        (Cycle.IOR, Line(0), "110"),
        (Cycle.IOW, Line(0), "101"),
        (Cycle.INA, Line(0), "111"),
        (Cycle.BI, Line(0), "010"),
        (Cycle.BI, Line.IO_M, "111"),
        (Cycle.HALT, Line(0), "-00"),
    ],
)
def test_status_columns(cycle: Cycle, lines: Line, status: str) -> None:
    assert row(record(cycle, 0, 0, lines)).split()[10] == status


def test_every_column_stands_under_its_head() -> None:
    head = bus.header(80)
    names = {
        "".join(line[i] if i < len(line) else " " for line in head).strip(): i
        for i in range(54, max(map(len, head)))
    }
    for name, line in (
        ("TRAP", Line.TRAP),
        ("7.5", Line.RST75),
        ("6.5", Line.RST65),
        ("5.5", Line.RST55),
        ("INTR", Line.INTR),
        ("HOLD", Line.HOLD),
        ("SID", Line.SID),
        ("SOD", Line.SOD),
    ):
        shown = row(record(Cycle.MR, 0, 0, line))
        others = row(record(Cycle.MR, 0, 0, Line(0)))
        differing = [i for i, (a, b) in enumerate(zip(shown, others, strict=True)) if a != b]
        assert differing == [names[name]]
    waited = row(record(Cycle.MR, 0, 0, waits=3))
    assert waited[names["WAIT"]] == "3"
    assert row(record(Cycle.IOR, 0, 0))[names["IO/M"]] == "1"


def test_rows_fit_on_eighty_columns() -> None:
    lines = bus.rows([record(Cycle.OF, 0xFFFF, 0xC3)], 80, lambda _: "FAR_AWAY: JMP EVEN_FARTHER")
    assert len(lines) == 2
    assert max(map(len, lines + bus.header(80))) <= 80


def test_a_floating_read_is_told_in_words() -> None:
    assert row(record(Cycle.MR, 0x4000, 0xFF, Line.FLOATING)).endswith("floating")


def test_the_panel_names_every_line() -> None:
    one = record(Cycle.IOW, 0x2121, 0x80, Line.SOD | Line.READY | Line.RST75, waits=2)
    text = "\n".join(bus.panel(one, 5, "OUT 21H", Places({}), 80))
    for part in (
        "I/O write from T-state 1234, 5 T-states",
        "0010 0001 0010 0001  2121",
        "1000 0000",
        "IO/M 1  S1 0  S0 1",
        "RD 1  WR 0  INTA 1",
        "wait states 2",
        "RST 7.5 1",
        "RST 6.5 0",
        "SID 0  SOD 1",
        "OUT 21H",
    ):
        assert part in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    ("one", "text"),
    [
        (record(Cycle.MW, 0x8004, 0x1B), "memory write of 1B to 8004"),
        (record(Cycle.IOR, 0x1414, 0x2A), "I/O read of 2A from port 14"),
        (record(Cycle.OF, 0x150, 0x3E), "opcode fetch of 3E from 0150"),
        (record(Cycle.BI, 0x150, 0), "bus idle at 0150"),
    ],
)
def test_a_machine_cycle_in_words(one: Any, text: str) -> None:
    assert bus.sentence(one) == text


def test_places_are_told_by_the_symbol_before_them() -> None:
    names = {"START": 0x100, "ALIAS": 0x100, "TABLE": 0x140}
    places = Places(names, runs=((0x100, 0x300),))
    assert places.text(0x100) == "0100 START"
    assert places.text(0x13F) == "013F START+3F"
    assert places.text(0x0FF) == "00FF"
    assert places.text(0x23F) == "023F TABLE+FF"
    assert places.text(0x240) == "0240"


def test_a_place_is_told_only_within_the_label_s_own_code_or_data() -> None:
    names = {"LOOP": 0x100, "PAST": 0x110, "BUFFER": 0x8000}
    places = Places(names, runs=((0x100, 0x110), (0x120, 0x130), (0x8000, 0x8010)))
    assert places.near(0x10F) == "LOOP+F"
    assert places.near(0x110) == "PAST"  # exactly there, though it holds no byte
    assert places.near(0x111) == ""
    assert places.near(0x121) == ""  # a run with no label of its own
    assert places.near(0x800F) == "BUFFER+F"
    assert places.near(0x8010) == ""


def test_an_equated_name_names_no_place() -> None:
    places = Places({"PORT": 0x40, "LOOP": 0x3C}, {"PORT"}, ((0, 0x80),))
    assert places.exact(0x40) == ""
    assert places.near(0x40) == "LOOP+4"


@pytest.mark.parametrize(
    ("cycle", "lines", "told"),
    [
        (Cycle.OF, Line(0), "INTA 1  ALE in T1"),
        (Cycle.INA, Line(0), "INTA 0  ALE in T1"),
        (Cycle.BI, Line(0), "INTA 1  no ALE"),
        (Cycle.BI, Line.IO_M, "INTA 1  ALE in T1"),
        (Cycle.HALT, Line(0), "INTA 1  no ALE"),
        (Cycle.MW, Line.HLDA, "no ALE"),  # a bus master's
    ],
)
def test_the_panel_tells_of_ale(cycle: Cycle, lines: Line, told: str) -> None:
    status = bus.panel(record(cycle, 0, 0, lines), 3, "", Places({}), 80)[3]
    assert status.endswith(told)


def test_the_panel_breaks_between_things_on_a_narrow_screen() -> None:
    one = record(Cycle.IOW, 0x2121, 0x80, Line.READY, waits=2, t=123_456_789)
    wide = bus.panel(one, 5, "0150  FIRST_OF_SOME: OUT 21H   (machine cycle 3)", Places({}), 80)
    narrow = bus.panel(one, 5, "0150  FIRST_OF_SOME: OUT 21H   (machine cycle 3)", Places({}), 40)
    assert max(map(len, narrow)) <= 40
    assert " ".join(" ".join(narrow).split()) == " ".join(" ".join(wide).split())
    shown = "\n".join(narrow)
    for thing in ("IO/M 1", "WR 0", "ALE in T1", "RESET OUT 0", "wait states 2", "RST 5.5 0"):
        assert thing in shown
    assert all(line[:11].strip() for line in wide)
    assert {line[:11].strip() for line in narrow} == {line[:11].strip() for line in wide} | {""}


def test_rows_take_two_lines_on_a_narrow_screen() -> None:
    one = record(Cycle.OF, 0x8A3C, 0x5E, Line.SOD, waits=3)
    text, left, right = bus.rows([one], 40, lambda _: "MOV E,M")
    assert text.split() == ["MOV", "E,M"]
    assert left.split() == ["1234", "OF", "1000", "1010", "0011", "1100", "8A3C"]
    assert right.split() == ["0101", "1110", "5E", "011", "00000001", "3"]
    head = bus.header(40)
    assert max(map(len, [*head, text, left, right])) <= 40
    assert head[0].split() == ["T-state", "type", "address", "hex"]
    assert (left.index("8A3C"), right.index("0101")) == (head[0].index("hex"), 10)
    assert head[4].index("data") == 10
    assert (head[1][right.rindex("3")], head[4][right.rindex("3")]) == ("W", "T")
    assert len(bus.rows([record(Cycle.MR, 0, 0)], 40, lambda _: "")) == 2
