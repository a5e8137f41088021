"""The serial line bit by bit, against arithmetic with fractions.

Framing expected here: start bit 0, data lowest bit first, parity, stop bits 1
(EIA-232 practice); moments are ``start + n * clock / baud`` to the nearest
T-state.
"""

from __future__ import annotations

import itertools
from fractions import Fraction
from math import floor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board.description import SerialFormat
from emu85.board.schedule import Schedule
from emu85.board.serial import SerialLine
from emu85.bus.lines import Line
from tests.board.fakes import MINIMAL, Bench


class Wire:
    """A line on a schedule, both its pins watched."""

    def __init__(
        self,
        clock: Fraction = Fraction(3_072_000),
        baud: int = 1200,
        bits: int = 8,
        parity: str = "N",
        stop: str = "1",
        inverted: bool = False,
        gap: str = "0",
    ) -> None:
        self.schedule = Schedule()
        self.sid: list[tuple[int, int]] = []
        format_ = SerialFormat(
            Fraction(baud), bits, parity, Fraction(stop), inverted, Fraction(gap)
        )
        self.bit = clock / baud
        self.line = SerialLine(format_, clock, self._drive)
        self.line.power(self.schedule)

    def _drive(self, level: int) -> None:
        self.sid.append((self.schedule.now, level))

    def sid_at(self, t: int) -> int:
        return [level for when, level in self.sid if when <= t][-1]

    def sod(self, t: int, level: int) -> None:
        """SOD changes at ``t`` as the machine tells it: earlier events first."""
        self.schedule.run_until(t)
        self.line.sod(level)

    def key_in(self, start: Fraction, levels: list[int], bit: Fraction) -> Fraction:
        """Send levels on SOD, a bit each, edges at the nearest T-state; returns the end."""
        last = None
        for number, level in enumerate(levels):
            if level != last:
                self.sod(near(start + number * bit), level)
            last = level
        return start + len(levels) * bit


def near(moment: Fraction) -> int:
    return floor(moment + Fraction(1, 2))


def frame(value: int, bits: int = 8, parity: str = "N", stops: int = 1) -> list[int]:
    """A character's bits from its written binary form."""
    data = [int(digit) for digit in reversed(f"{value:0{bits}b}"[-bits:])]
    ones = data.count(1)
    extra = {
        "N": [],
        "E": [1] if ones % 2 == 1 else [0],
        "O": [0] if ones % 2 == 1 else [1],
        "M": [1],
        "S": [0],
    }[parity]
    return [0, *data, *extra, *[1] * stops]


# --- towards the board -------------------------------------------------------------


def test_sid_idles_at_mark() -> None:
    assert Wire().sid == [(0, 1)]
    assert Wire(inverted=True).sid == [(0, 0)]


@settings(max_examples=60, deadline=None)
@given(
    data=st.binary(min_size=1, max_size=4),
    clock=st.sampled_from([Fraction(3_072_000), Fraction(2_000_000), Fraction(6_000_001, 2)]),
    baud=st.sampled_from([110, 300, 1200, 9600, 38400]),
    parity=st.sampled_from("NEOMS"),
    bits=st.integers(5, 8),
    stop=st.sampled_from(["1", "1.5", "2"]),
    start=st.integers(0, 10_000),
)
def test_every_bit_of_sid(
    data: bytes, clock: Fraction, baud: int, parity: str, bits: int, stop: str, start: int
) -> None:
    wire = Wire(clock, baud, bits, parity, stop)
    wire.schedule.run_until(start)
    wire.line.send(data)
    wire.schedule.run_until(start + near(20 * wire.bit * len(data)) + 10)
    begin = Fraction(start)
    for value in data:
        levels = frame(value, bits, parity)
        for number, level in enumerate(levels):
            first = near(begin + number * wire.bit)
            last = near(begin + (number + 1) * wire.bit) - 1
            assert wire.sid_at(first) == level and wire.sid_at(last) == level
        begin += (len(levels) - 1 + Fraction(stop)) * wire.bit
        assert wire.sid_at(near(begin) - 1) == 1
    changes = [level for _, level in wire.sid]
    assert all(a != b for a, b in itertools.pairwise(changes))


def test_no_drift_over_a_thousand_characters() -> None:
    wire = Wire(Fraction(3_125_000), 9600)  # 325.52... T-states a bit
    wire.line.send(b"U" * 1000)
    wire.schedule.run_until(near(10_010 * wire.bit))
    starts = [t for t, level in wire.sid if level == 0][::5]
    assert len(starts) == 1000
    for number, t in enumerate(starts):
        assert t == near(number * 10 * wire.bit)


def test_characters_sent_later_wait_for_the_stop_bit_and_the_gap() -> None:
    wire = Wire(gap="0.01")  # 30720 T-states
    wire.line.send(b"\xff")
    wire.schedule.run_until(100)
    wire.line.send(b"\xff")
    assert wire.line.pending == 1 and not wire.line.idle
    wire.schedule.run_until(1_000_000)
    falls = [t for t, level in wire.sid if level == 0]
    assert falls == [0, 10 * 2560 + 30720]
    assert wire.line.idle
    wire.line.send(b"\xff")
    wire.schedule.run_until(1_000_100)
    assert wire.sid[-1] == (1_000_000, 0)


def test_inverted_levels() -> None:
    plain, inverted = Wire(), Wire(inverted=True)
    for wire in (plain, inverted):
        wire.line.send(b"k")
        wire.schedule.run_until(100_000)
    assert inverted.sid == [(t, 1 - level) for t, level in plain.sid]


# --- from the board ------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    data=st.binary(min_size=1, max_size=5),
    parity=st.sampled_from("NEOMS"),
    bits=st.integers(5, 8),
    baud=st.sampled_from([110, 1200, 9600]),
    speed=st.fractions(Fraction(96, 100), Fraction(104, 100)),
    inverted=st.booleans(),
)
def test_what_sod_sends_arrives(
    data: bytes, parity: str, bits: int, baud: int, speed: Fraction, inverted: bool
) -> None:
    wire = Wire(baud=baud, parity=parity, bits=bits, inverted=inverted)
    heard: list[int] = []
    wire.line.listeners.append(heard.append)
    flip = 1 if inverted else 0
    if not inverted:
        wire.sod(50, 1)
    at, starts, bit = Fraction(1000), [], wire.bit * speed
    for value in data:
        starts.append(near(at))
        at = wire.key_in(at, [level ^ flip for level in frame(value, bits, parity)], bit)
    wire.schedule.run_until(near(at + wire.bit))
    sent = [value % 2**bits for value in data]
    assert list(wire.line.received) == sent == heard
    assert [a.start_t for a in wire.line.arrivals] == starts
    length = len(frame(0, bits, parity))
    for arrival in wire.line.arrivals:
        assert arrival.t == near(arrival.start_t + (length - Fraction(1, 2)) * wire.bit)
    assert not wire.line.framing_errors + wire.line.parity_errors + wire.line.breaks


def test_bits_are_sampled_at_their_middle() -> None:
    wire = Wire()  # 2560 T-states a bit; the start bit's middle is at 1280
    wire.sod(10, 1)
    for number in range(1, 9):  # mark only for one T-state at each middle
        middle = 10_000 + 1280 + number * 2560
        if number == 1:
            wire.sod(10_000, 0)
        wire.sod(middle, 1)
        wire.sod(middle + 1, 0)
    wire.sod(10_000 + 1280 + 9 * 2560, 1)
    wire.schedule.run_until(100_000)
    assert bytes(wire.line.received) == b"\xff"

    wire = Wire()  # one T-state early is too early
    wire.sod(10, 1)
    wire.sod(10_000, 0)
    middle = 10_000 + 1280 + 3 * 2560
    wire.sod(middle - 1, 1)
    wire.sod(middle, 0)
    wire.sod(10_000 + 9 * 2560, 1)
    wire.schedule.run_until(100_000)
    assert bytes(wire.line.received) == b"\x00"


def test_sod_low_after_reset_is_no_start_bit() -> None:
    wire = Wire()
    wire.sod(1000, 0)
    wire.schedule.run_until(1_000_000)
    assert not wire.line.arrivals
    wire.sod(1_000_000, 1)  # the firmware raises it to idle
    end = wire.key_in(Fraction(1_050_000), frame(ord("A")), wire.bit)
    wire.schedule.run_until(near(end) + 10)
    assert bytes(wire.line.received) == b"A"
    assert [a.start_t for a in wire.line.arrivals] == [1_050_000]


def test_a_short_low_is_noise() -> None:
    wire = Wire()
    wire.sod(0, 1)
    wire.sod(1000, 0)
    wire.sod(1000 + 1280, 1)  # high again exactly when the start bit is looked at
    wire.schedule.run_until(100_000)
    assert not wire.line.arrivals
    end = wire.key_in(Fraction(100_000), frame(0x55), wire.bit)
    wire.schedule.run_until(near(end))
    assert bytes(wire.line.received) == b"U"


def test_framing_error_then_a_mark_is_needed() -> None:
    wire = Wire()
    wire.sod(0, 1)
    end = wire.key_in(Fraction(1000), [*frame(0x41)[:-1], 0], wire.bit)
    wire.schedule.run_until(near(end + 50 * wire.bit))
    assert wire.line.framing_errors == 1 and not wire.line.breaks
    assert [(a.value, a.fault) for a in wire.line.arrivals] == [(0x41, "framing")]
    assert not wire.line.received
    wire.sod(near(end + 50 * wire.bit), 1)
    end = wire.key_in(end + 52 * wire.bit, frame(0x42), wire.bit)
    wire.schedule.run_until(near(end))
    assert bytes(wire.line.received) == b"B"


def test_a_long_low_is_one_break() -> None:
    wire = Wire()
    wire.sod(0, 1)
    wire.sod(1000, 0)
    wire.schedule.run_until(1000 + 100 * 2560)
    assert [a.fault for a in wire.line.arrivals] == ["break"]
    assert (wire.line.breaks, wire.line.framing_errors) == (1, 0)


@pytest.mark.parametrize(
    ("parity", "fault"), [("E", "parity"), ("O", ""), ("M", ""), ("S", "parity")]
)
def test_parity_is_checked(parity: str, fault: str) -> None:
    wire = Wire(parity=parity)
    wire.sod(0, 1)
    end = wire.key_in(Fraction(1000), [0, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1], wire.bit)  # 03, bit 1
    wire.schedule.run_until(near(end))
    assert [a.fault for a in wire.line.arrivals] == [fault]
    assert wire.line.parity_errors == (1 if fault else 0)


def test_both_directions_at_once() -> None:
    wire = Wire()
    wire.sod(0, 1)
    wire.line.send(b"down")
    end = Fraction(500)
    for value in b"up":
        end = wire.key_in(end, frame(value), wire.bit)
    wire.schedule.run_until(near(end + 40 * wire.bit))
    assert bytes(wire.line.received) == b"up"
    assert len([1 for _, level in wire.sid if level == 0]) >= 4 and wire.line.idle


def test_power_forgets_the_past() -> None:
    wire = Wire()
    wire.line.send(b"lost")
    wire.sod(100, 1)
    wire.sod(200, 0)
    wire.schedule.run_until(30_000)
    wire.schedule.clear()
    wire.schedule.now = 0
    wire.line.power(wire.schedule)
    wire.schedule.run_until(200_000)
    assert wire.line.idle and not wire.line.arrivals
    assert wire.sid[-1][1] == 1


def test_a_line_on_a_board() -> None:
    bench = Bench(MINIMAL + "serial:\n  baud: 1000\n")  # 2000 T-states a bit
    line = bench.board.serial
    assert line is not None and line.bit_time == 2000
    line.send(b"\x0f")
    bench.run_to(30_000)
    assert bench.host.of(Line.SID) == [(0, 1), (0, 0), (2000, 1), (10_000, 0), (18_000, 1)]
    bench.board.sod(1)
    for t, level in ((40_000, 0), (42_000, 1), (44_000, 0), (58_000, 1)):
        bench.run_to(t)
        bench.board.sod(level)
    bench.run_to(70_000)
    assert bytes(line.received) == b"\x01"
    assert Bench(MINIMAL).board.serial is None


def test_what_has_arrived_is_kept_within_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("emu85.board.serial.ARRIVALS_KEPT", 3)
    wire = Wire()
    wire.sod(10, 1)
    end = Fraction(1000)
    for value in b"salt!":
        end = wire.key_in(end, frame(value), wire.bit)
    wire.schedule.run_until(near(end))
    assert bytes(arrival.value for arrival in wire.line.arrivals) == b"lt!"
    assert bytes(wire.line.received) == b"salt!"


def test_a_break_towards_the_board() -> None:
    wire = Wire()
    wire.line.send(b"\xff")
    wire.line.send_break(15)
    wire.line.send(b"\xff")
    wire.schedule.run_until(near(60 * wire.bit))
    expected = [(0, 0), (1, 1), (10, 0), (25, 1), (26, 0), (27, 1)]
    assert wire.sid[1:] == [(2560 * bits, level) for bits, level in expected]


def test_power_in_the_middle_of_a_character() -> None:
    """Its edges do not come afterwards, though the schedule keeps its events."""
    wire = Wire()
    wire.line.send(b"U")
    wire.schedule.run_until(3000)
    wire.line.power(wire.schedule)
    seen = len(wire.sid)
    wire.schedule.run_until(100_000)
    assert wire.sid[seen - 1][1] == 1 and len(wire.sid) == seen


@settings(max_examples=40, deadline=None)
@given(
    changes=st.lists(st.integers(1, 4000), min_size=1, max_size=60), parity=st.sampled_from("NE")
)
def test_any_edges_are_read_as_an_independent_reader_reads_them(
    changes: list[int], parity: str
) -> None:
    """A sample at each middle, one after the other, the level looked up among the edges."""
    wire = Wire(clock=Fraction(1_000_001), baud=1000, parity=parity)
    edges = list(itertools.accumulate(changes, initial=10))
    levels = [1 - number % 2 for number in range(len(edges))]
    for t, level in zip(edges, levels, strict=True):
        wire.sod(t, level)
    end = edges[-1] + 20_000
    wire.schedule.run_until(end)

    def at(moment: Fraction) -> int:
        return [level for t, level in zip(edges, levels, strict=True) if t <= moment][-1]

    count = 10 if parity == "N" else 11
    found = []
    free = Fraction(0)
    for fall in (t for t, level in zip(edges, levels, strict=True) if level == 0):
        if fall <= free:
            continue
        samples = [at(fall + (number + Fraction(1, 2)) * wire.bit) for number in range(count)]
        free = fall + wire.bit / 2
        if samples[0] == 0:
            free = fall + (count - Fraction(1, 2)) * wire.bit
            found.append((fall, sum(bit << n for n, bit in enumerate(samples[1:9]))))
    assert [(a.start_t, a.value) for a in wire.line.arrivals] == found
