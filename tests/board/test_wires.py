"""What the wires carry: levels, gates, ranges, shared outputs, pins let go."""

from __future__ import annotations

import pytest

from emu85.board import read_board, schema_text
from emu85.board.describe import describe
from emu85.board.description import Driver, Gate, Pin, Tied
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench
from tests.board.parts import Port, Probe

pytestmark = pytest.mark.usefixtures("parts")

WIRED = (
    MINIMAL
    + "wired:\n  - {device: port, name: a}\n  - {device: port, name: b}\n"
    + "  - {device: probe, name: eye}\n"
)


def board(lines: str) -> tuple[Bench, Port, Port, Probe]:
    bench = Bench(WIRED + f"lines:\n{lines}")
    a, b, eye = (bench.board.devices[name] for name in ("a", "b", "eye"))
    assert isinstance(a, Port) and isinstance(b, Port) and isinstance(eye, Probe)
    return bench, a, b, eye


# --- outputs that share a wire -------------------------------------------------------


def test_open_collector_outputs_share_a_wire_and_low_wins() -> None:
    bench, a, b, _ = board("  RST 5.5: [a.irq0, a.irq1, b.irq0]\n")
    assert bench.host.of(Line.RST55) == [(0, 1)]  # nobody pulls it low
    steps = ((10, a, "irq0", 0), (20, b, "irq0", 0), (30, a, "irq0", 1), (40, b, "irq0", 1))
    for t, device, pin, level in steps:
        bench.run_to(t)
        device.site.drive(pin, level)
    assert bench.host.of(Line.RST55) == [(0, 1), (10, 0), (40, 1)]


def test_an_open_collector_output_alone_needs_no_gate() -> None:
    _, a, _, eye = board("  eye.i0: a.irq0\n  eye.i1: not a.irq0\n")
    a.site.drive("irq0", 0)
    assert eye.of("i0") == [(0, 1), (0, 0)] and eye.of("i1") == [(0, 0), (0, 1)]


@pytest.mark.parametrize(
    ("drivers", "column", "words"),
    [
        ("[a.out, b.irq0]", 10, "a.out is no open-collector output.*share the wire with b.irq0"),
        ("[a.out, b.out]", 17, "b.out is no open-collector output.*share the wire with a.out"),
        ("[a.irq0, b.out]", 18, "b.out is no open-collector output"),
        ("[a.irq0, not b.irq0]", 18, "not b.irq0 is no open-collector output"),
        ("[a.irq0, SOD]", 18, "SOD is no open-collector output"),
        ("[a.irq0, high]", 18, "high is no open-collector output"),
        ("[a.p0, b.out, HLDA]", 23, "HLDA is no open-collector output"),
    ],
)
def test_outputs_that_would_fight_are_refused(drivers: str, column: int, words: str) -> None:
    with pytest.raises(UserError, match=words) as caught:
        read_board(WIRED + f"lines:\n  TRAP: high\n  INTR: {drivers}\n", "bad.yaml")
    assert (caught.value.place.line, caught.value.place.column) == (13, column)
    assert "{any: [...]} or {all: [...]}" in str(caught.value)


@pytest.mark.parametrize(
    ("entries", "line", "words"),
    [
        ("eye.i0: a.out|eye.i1: b.irq0|eye.i2: [a.irq0, b.irq0]|eye.i3: a.irq0", 0, ""),
        ("a.p0: a.out|a.p0-p1: low", 13, "'a.p0' is wired twice, first in line 12"),
        ("a.p0: b.p0|a.p1: b.out|b.p0: low|eye.i0: b.p0", 0, ""),
        ("a.p0: b.p0|a.p1: b.p1|a.p2: a.out|b.p0: b.out|eye.i0: [a.p0, SOD]", 16, "SOD .*b.out"),
        ("eye.i0: [a.p0, a.out]|eye.i1: [a.p0, b.irq0]", 13, "a.out .* b.irq0"),
        ("a.p0: low|eye.i0: [a.p0, b.out]", 13, "b.out .* low of line 12"),
        ("b.p0: {any: [a.out, SOD]}|eye.i0: [b.p0, b.out]", 13, "with a.out or SOD of line 12"),
        ("b.p0: not a.out|eye.i0: [b.p0, b.out]", 13, "b.out .* with not a.out of line 12"),
        ("b.p0: not a.out|b.p1: b.out|eye.i0: [b.p0, b.p1]", 14, "b.out.* not a.out of line 12"),
    ],
)
def test_outputs_that_meet_by_way_of_other_entries(entries: str, line: int, words: str) -> None:
    text = WIRED + "lines:\n" + "".join(f"  {each}\n" for each in entries.split("|"))
    if not line:
        read_board(text, "bad.yaml")
        return
    with pytest.raises(UserError, match=words) as caught:
        read_board(text, "bad.yaml")
    assert caught.value.place.line == line


# --- nets ------------------------------------------------------------------------------


def test_a_pin_in_two_entries_is_on_one_net() -> None:
    """Three open-collector outputs and three inputs, by three entries."""
    _, a, _, eye = board(
        "  eye.i0: [a.irq0, b.irq0]\n  eye.i1: [b.irq0, b.irq1]\n  eye.i2: not b.irq1\n"
    )
    a.site.drive("irq0", 0)
    assert [eye.of(f"i{n}")[-1][1] for n in range(3)] == [0, 0, 1]
    a.site.drive("irq0", 1)
    assert [eye.of(f"i{n}")[-1][1] for n in range(3)] == [1, 1, 0]


def test_three_bidirectional_pins_on_a_bus_see_one_another() -> None:
    bench = Bench(
        WIRED + "  - {device: port, name: c}\nlines:\n  b.p0-p7: a.p0-p7\n  c.p0-p7: a.p0-p7\n"
    )
    ports = [bench.board.devices[name] for name in "abc"]
    for driver in ports:
        assert isinstance(driver, Port)
        for bit in range(8):
            driver.site.drive(f"p{bit}", 0xA6 >> bit & 1)
        for other in ports:
            assert isinstance(other, Port)
            seen = sum(other.pins[f"p{bit}"] << bit for bit in range(8))
            assert seen == (0xFF if other is driver else 0xA6)
        for bit in range(8):
            driver.site.release(f"p{bit}")
    bench.run_to(10)
    assert bench.host.notes == []


def test_gates_behind_gates() -> None:
    bench, a, b, eye = board(
        "  b.p0: {all: [a.out, a.p1]}\n  INTR: not b.p0\n  eye.i0: {any: [b.p0, b.p1]}\n"
        "  b.p1: not a.p1\n"
    )
    for out, p1 in ((0, 0), (0, 1), (1, 0), (1, 1)):
        a.site.drive("out", out)
        a.site.drive("p1", p1)
        assert b.pins["p0"] == (out and p1)
        assert bench.host.of(Line.INTR)[-1][1] == 1 - (out and p1)
        assert eye.of("i0")[-1][1] == ((out and p1) or 1 - p1)


def test_a_ring_of_inverters_is_told() -> None:
    ring = "lines:\n  a.p0: not b.p0\n  b.p0: not a.p1\n  a.p1: not a.p0\n"
    with pytest.raises(UserError, match="never comes to rest") as caught:
        Bench(WIRED + ring, "ring.yaml")
    assert caught.value.place.file == "ring.yaml"


# --- outputs that fight ------------------------------------------------------------------


def fight(t: int, pins: str, lines: str) -> tuple[int, str, str]:
    return (t, "one output drives a wire high, another low", f"{pins} (bench.yaml:{lines})")


def test_pins_that_drive_one_wire_apart_are_a_finding_and_low_wins() -> None:
    bench, a, b, eye = board("  a.p0: b.p0\n  eye.i0: a.p0\n")
    bench.run_to(10)
    a.site.drive("p0", 1)
    b.site.drive("p0", 1)
    bench.run_to(20)
    assert bench.host.notes == []
    b.site.drive("p0", 0)
    assert eye.of("i0")[-1] == (20, 0)
    bench.run_to(30)
    assert bench.host.notes == [fight(21, "a.p0 and b.p0", "12,13")]
    b.site.drive("p0", 1)
    b.site.drive("p0", 0)
    b.site.release("p0")
    bench.run_to(40)
    assert len(bench.host.notes) == 1  # hands changed within a T-state
    b.site.drive("p0", 0)
    bench.run_to(50)
    a.site.release("p0")
    assert bench.host.notes[1:] == [fight(41, "a.p0 and b.p0", "12,13")]


@pytest.mark.parametrize("level", [0, 1])
def test_a_pin_that_drives_against_the_supply_or_ground(level: int) -> None:
    bench, a, _, _ = board(f"  a.p3: {'low' if level else 'high'}\n")
    a.site.drive("p3", 1 - level)
    bench.run_to(10)
    assert bench.host.notes == []
    a.site.drive("p3", level)
    bench.run_to(20)
    pins = "a.p3 and low" if level else "a.p3 and high"
    assert bench.host.notes == [fight(11, pins, "12")]


def test_an_output_that_drives_an_open_collector_wire_high() -> None:
    bench, a, b, _ = board("  a.p0: [b.irq0, b.irq1]\n")
    b.site.drive("irq0", 0)
    bench.run_to(10)
    assert bench.host.notes == []
    a.site.drive("p0", 1)
    bench.run_to(20)
    assert bench.host.notes == [fight(11, "a.p0 and b.irq0", "12")]


def test_a_fight_from_power_on() -> None:
    bench, a, _, _ = board("  a.p0: {any: [b.out, low]}\n  b.p0: [a.p0]\n")
    a.site.drive("p0", 1)
    bench.run_to(5)
    assert bench.host.notes == [fight(1, "a.p0 and b.out or low", "12,13")]


# --- gates -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gate", "levels"),
    [
        ("{any: [a.out, not b.out]}", [1, 0, 1, 1]),  # (a, b) = 00, 01, 10, 11
        ("{all: [a.out, not b.out]}", [0, 0, 1, 0]),
        ("{any: a.out}", [0, 0, 1, 1]),
        ("{All: [a.out, b.out, high]}", [0, 0, 0, 1]),
        ("{any: [a.out, b.out, low]}", [0, 1, 1, 1]),
        ("{any: [a.p0, b.out]}", [1, 1, 1, 1]),  # a pin that is let go is high
    ],
)
def test_gates(gate: str, levels: list[int]) -> None:
    for both, expected in enumerate(levels):
        bench, a, b, _ = board(f"  INTR: {gate}\n")
        a.site.drive("out", both >> 1)
        b.site.drive("out", both & 1)
        assert bench.host.of(Line.INTR)[-1][1] == expected


def test_pins_that_are_tied() -> None:
    bench, _, _, eye = board("  eye.i0: low\n  eye.i1: HIGH\n  eye.i2: not high\n")
    assert eye.seen == [(0, "i0", 0), (0, "i1", 1), (0, "i2", 0)]
    wire = bench.board.description.wires[0]
    assert wire.drivers == (Driver(Tied.LOW, False),)


# --- ranges ----------------------------------------------------------------------------


def test_ranges_are_wired_pin_by_pin() -> None:
    wires = read_board(WIRED + "lines:\n  eye.i0-i7: not a.p7-p0\n", "b.yaml").wires
    assert [(wire.sink, wire.drivers) for wire in wires] == [
        (Pin("eye", f"i{n}"), (Driver(Pin("a", f"p{7 - n}"), True),)) for n in range(8)
    ]


def test_ranges_in_gates_and_tied() -> None:
    bench, a, b, eye = board("  eye.i0-i1: {any: [a.irq0-irq1, b.p4-p5]}\n  Eye.I6 - I7: low\n")
    for pin in ("p4", "p5"):
        b.site.drive(pin, 0)
    a.site.drive("irq0", 0)
    assert eye.of("i0")[-1][1] == 0 and eye.of("i1")[-1][1] == 1
    assert eye.of("i6") == eye.of("i7") == [(0, 0)]
    assert bench.board.description.wires[0].gate is Gate.ANY


@pytest.mark.parametrize(
    ("entry", "column", "words"),
    [
        (
            "eye.i0-i7: a.p0-p6",
            14,
            "eye.i0-i7 is 8 pins and a.p0-p6 is 7 pins; expected as many on both",
        ),
        ("eye.i0-i7: a.out", 14, "eye.i0-i7 is 8 pins and a.out is one pin"),
        ("RST 7.5: a.p0-p1", 12, "RST 7.5 is one pin and a.p0-p1 is 2 pins"),
        ("eye.i0-i8: a.p0-p7", 3, "unknown input pin of eye 'i8'; expected one of clk, i0"),
        ("eye.i0-i7: a.p1-p8", 14, "unknown output pin of a 'p8'"),
        ("eye.i0-j7: a.p0-p7", 3, "i0-j7 is no range of pins; expected one name"),
        ("eye.i0-i1: a.p0-p99999", 14, "p0-p99999 is too long"),
        ("eye.i0: {nor: [a.out]}", 12, "unknown gate 'nor'.*all, any"),
        ("eye.i0: {any: [a.out], all: [b.out]}", 11, "a gate is one word and its list"),
        ("eye.i0: {any: []}", 17, "nothing drives this"),
        ("eye.i0: {any: {all: [a.out]}}", 17, "one value belongs"),
        ("eye.i0: lo", 11, "no device 'lo' on this board.*did you mean 'low'"),
        ("eye.i0: c.out", 11, "no device 'c' on this board.*did you mean '[ab].out'"),
    ],
)
def test_wires_that_cannot_be(entry: str, column: int, words: str) -> None:
    with pytest.raises(UserError, match=words) as caught:
        read_board(WIRED + f"lines:\n  {entry}\n", "bad.yaml")
    place = caught.value.place
    assert (place.file, place.line, place.column) == ("bad.yaml", 12, column)


def test_a_pin_wired_singly_and_in_a_range() -> None:
    with pytest.raises(UserError, match=r"'eye\.i3' is wired twice") as caught:
        read_board(WIRED + "lines:\n  eye.i0-i7: a.p0-p7\n  eye.i3: high\n", "bad.yaml")
    assert caught.value.place.line == 13


# --- pins that are let go ----------------------------------------------------------------


def test_a_released_pin_is_high() -> None:
    bench, a, _, eye = board("  eye.i0: a.p0\n")
    assert eye.of("i0") == [(0, 1)]  # bidirectional: let go at power-on
    for t, level in ((10, 0), (20, None), (30, 1), (40, 0)):
        bench.run_to(t)
        if level is None:
            a.site.release("p0")
        else:
            a.site.drive("p0", level)
    assert eye.of("i0") == [(0, 1), (10, 0), (20, 1), (40, 0)]


def test_bidirectional_pins_are_wired_both_ways_by_one_entry() -> None:
    _, a, b, _ = board("  a.p0-p7: b.p7-p0\n")
    assert a.pins == b.pins == {f"p{n}": 1 for n in range(8)}
    a.site.drive("p0", 0)
    b.site.drive("p6", 0)
    assert b.pins["p7"] == 0 and a.pins["p1"] == 0
    assert a.pins["p0"] == 1  # its own output is not told to it
    a.site.release("p0")
    assert b.pins["p7"] == 1


def test_the_way_back_is_not_added_where_it_is_said_otherwise() -> None:
    _, _, b, _ = board("  a.p0: b.p0\n  b.p0: low\n  a.p1: not b.p1\n")
    assert b.pins == {"p0": 0}


def test_pins_that_no_wire_reaches() -> None:
    _, a, b, eye = board("  a.p0: b.out\n  TRAP: a.irq0\n")
    assert a.site.is_wired("p0") and b.site.is_wired("out") and a.site.is_wired("irq0")
    assert not a.site.is_wired("p1") and not eye.site.is_wired("i0")
    b.site.drive("p1", 1)  # nobody is told, and nothing goes wrong
    b.site.release("p1")
    assert eye.seen == [] and a.pins == {"p0": 0}


# --- what the machine gives ----------------------------------------------------------------


def test_a_device_reaches_the_machine() -> None:
    bench, a, _, _ = board("  TRAP: low\n")
    assert a.site.transfer(Cycle.MR, 0x1234) == 0xA5
    assert a.site.transfer(Cycle.IOW, 0x20, 0x5C) == 0x5C
    assert bench.host.transfers == [(Cycle.MR, 0x1234, None), (Cycle.IOW, 0x20, 0x5C)]
    a.site.hold()
    assert bench.host.asked == 1
    assert a.site.stops is bench.host.stops
    assert a.site.stop_listeners is bench.host.stop_listeners


# --- as text -------------------------------------------------------------------------------


def test_wires_as_text() -> None:
    bench, *_ = board(
        "  INTR: {any: [a.out, b.out]}\n  TRAP: {all: [a.out, not b.out]}\n"
        "  RST 5.5: [a.irq0, b.irq1]\n  eye.i0: low\n"
        "  eye.i1-i3: {all: [not a.p0-p2, b.p0-p2, high]}\n  a.p4-p7: b.p7-p4\n"
    )
    rows = [" ".join(row.split()) for row in describe(bench.board).splitlines()]
    for expected in (
        "INTR a.out or b.out",
        "TRAP a.out and not b.out",
        "RST 5.5 a.irq0 joined with b.irq1",
        "eye.i0 low",
        "eye.i1-i3 not a.p0-p2 and b.p0-p2 and high",
        "a.p4-p7 b.p7-p4, both ways",
    ):
        assert expected in rows


def test_pins_in_the_schema() -> None:
    rows = [" ".join(row.split()) for row in schema_text().splitlines()]
    for expected in (
        "pin p0 in and out: bit 0",
        "pin irq0 open-collector out: request, active low",
        "pin tx async out: characters",
        "pin clk clock in: a clock",
        "pin rx async in: characters",
    ):
        assert expected in rows
