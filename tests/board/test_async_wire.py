"""Characters on a wire: what receivers make of them at right and at wrong speeds."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board import (
    Arrival,
    AsyncReceiver,
    AsyncSender,
    Frame,
    Framing,
    Schedule,
    Terminal,
    describe,
    fit,
    read_board,
    sample,
)
from emu85.board.frames import levels_of
from emu85.bus.lines import Line
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench
from tests.board.parts import Probe, Uart

FRAMINGS = st.builds(
    Framing,
    st.integers(5, 8),
    st.sampled_from("NEOMS"),
    st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(2)]),
)


class Link:
    """A sender and a receiver with a wire between them; time moves by itself."""

    def __init__(
        self,
        bit_time: Fraction,
        framing: Framing | None = None,
        at: Fraction | None = None,
        expects: Framing | None = None,
    ) -> None:
        """``bit_time`` and ``framing`` of the sender; the receiver's if they differ."""
        self.schedule = Schedule()
        self.frames: list[Frame] = []
        self.arrivals: list[Arrival] = []
        self.data: list[int] = []
        self.sender = AsyncSender(self.put, self.more)
        self.sender.bit_time, self.sender.framing = bit_time, framing or Framing()
        self.receiver = AsyncReceiver(self.arrivals.append)
        self.receiver.set(at or bit_time, expects or framing or Framing())
        self.sender.power(self.schedule)
        self.receiver.power(self.schedule)

    def put(self, frame: Frame) -> None:
        self.frames.append(frame)
        self.receiver.take(frame)

    def more(self) -> None:
        if self.data:
            self.sender.send(self.data.pop(0))

    def send(self, data: bytes) -> list[Arrival]:
        self.data += data
        self.more()
        self.schedule.run_until(self.schedule.now + 1_000_000_000)
        return self.arrivals

    def values(self, data: bytes) -> bytes:
        arrivals = self.send(data)
        assert all(arrival.fault == "" for arrival in arrivals)
        return bytes(arrival.value for arrival in arrivals)


# --- frames -----------------------------------------------------------------------------


def test_levels_of_a_character() -> None:
    # 'A' is 41H, 1000001 with the lowest bit first; two ones, so odd parity adds a third.
    assert levels_of(Framing(), 0x41) == (0, 1, 0, 0, 0, 0, 0, 1, 0, 1)
    assert levels_of(Framing(7, "O"), 0x41) == (0, 1, 0, 0, 0, 0, 0, 1, 1, 1)
    assert levels_of(Framing(7, "E", Fraction(2)), 0x41) == (0, 1, 0, 0, 0, 0, 0, 1, 0, 1)
    assert levels_of(Framing(5, "M"), 0x41) == (0, 1, 0, 0, 0, 0, 1, 1)
    assert levels_of(Framing(5, "S"), 0x5F) == (0, 1, 1, 1, 1, 1, 0, 1)
    assert Framing(7, "E", Fraction(2)).length == 11
    assert Framing(5, "N", Fraction(3, 2)).length == Fraction(15, 2)


def test_samples_of_a_frame() -> None:
    frame = Frame(Fraction(10), Fraction(5, 2), (0, 1, 0))
    assert frame.end == Fraction(35, 2)
    seen = {Fraction(n, 4): sample(frame, Fraction(n, 4)) for n in range(20, 80)}
    space = {t for t, level in seen.items() if level == 0}
    assert space == {t for t in seen if 10 <= t < 12.5 or 15 <= t < 17.5}


# --- sender and receiver ------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    framing=FRAMINGS,
    bit_time=st.fractions(min_value=4, max_value=5000, max_denominator=1000),
    off=st.integers(-40, 40),
    data=st.binary(min_size=1, max_size=12),
)
def test_what_is_sent_arrives_while_speeds_are_near(
    framing: Framing, bit_time: Fraction, off: int, data: bytes
) -> None:
    """4 % off: 9.5 to 10.5 bits move the last sample by less than half a bit."""
    link = Link(bit_time, framing, bit_time * (1000 + off) / 1000)
    mask = (1 << framing.bits) - 1
    assert link.values(data) == bytes(value & mask for value in data)


def test_characters_follow_one_another_exactly() -> None:
    bit_time = Fraction(1_000_003, 7919)  # 126.28 T-states
    link = Link(bit_time, Framing(8, "N", Fraction(3, 2)))
    link.schedule.now = 5
    link.sender.power(link.schedule)
    link.send(bytes(range(200)))
    assert [frame.start for frame in link.frames] == [
        5 + n * bit_time * Fraction(21, 2) for n in range(200)
    ]
    middle = Fraction(19, 2) * bit_time
    for frame, arrival in zip(link.frames, link.arrivals, strict=True):
        assert abs(Fraction(frame.start) - arrival.start_t) <= Fraction(1, 2)
        assert abs(frame.start + middle - arrival.t) <= Fraction(1, 2)


def naive(frames: list[Frame], bit_time: Fraction, framing: Framing) -> list[tuple[int, str]]:
    """A receiver that looks at the wire every T-state; (value, fault) of each character.

    Edges and the middles of its bits must all be at whole T-states.
    """

    def level(t: Fraction) -> int:
        near = (frame for frame in frames if frame.start <= t < frame.end)
        return min((sample(frame, t) for frame in near), default=1)

    found = []
    end = frames[-1].end + 20 * bit_time
    t, before = Fraction(0), 1
    while t < end:
        now = level(t)
        if before == 1 and now == 0:
            if level(t + bit_time / 2) == 1:  # noise: nothing is looked for till then
                t += bit_time / 2
                before = level(t)
                continue
            bits = [level(t + (n + Fraction(1, 2)) * bit_time) for n in range(framing.sampled)]
            value = sum(bit << n for n, bit in enumerate(bits[1 : 1 + framing.bits]))
            fault = "" if bits[-1] else "framing" if any(bits) else "break"
            found.append((value, fault))
            t += (framing.sampled - Fraction(1, 2)) * bit_time
            before = level(t)
            continue
        before = now
        t += 1
    return found


@settings(max_examples=25, deadline=None)
@given(
    sends=st.sampled_from([75, 100, 130, 160, 200, 320, 400]),
    takes=st.sampled_from([80, 100, 110, 150, 200, 400, 460]),
    data=st.binary(min_size=1, max_size=4),
)
def test_wrong_speeds_give_what_sampling_gives(sends: int, takes: int, data: bytes) -> None:
    link = Link(Fraction(sends), at=Fraction(takes))
    got = [(arrival.value, arrival.fault) for arrival in link.send(data)]
    assert got == naive(link.frames, Fraction(takes), Framing())


def test_half_speed_is_framing_errors_or_garbage() -> None:
    """At half the speed the receiver sees bits 0-3 twice each, and bit 3 for the stop."""
    link = Link(Fraction(200), at=Fraction(100))
    # 'U' is 55H: space, then 1 0 1 0 1 0 1 0, mark; sampled twice a bit from the start on:
    # start 0, data 0 11 00 11 0 (lowest first), stop 0: framing error.
    first = link.send(b"U")[0]
    assert (first.value, first.fault) == (0b01100110, "framing")


def test_double_speed_runs_characters_together() -> None:
    """At twice the speed it sees every other bit, and needs two characters' time."""
    link = Link(Fraction(100), at=Fraction(200))
    arrivals = link.send(b"\x00")
    # Samples at bits 1, 3, 5, 7 of 10 are space, from 9 on mark: start, 000, then 1s.
    assert [(a.value, a.fault) for a in arrivals] == [(0b11111000, "")]


def test_parity_errors() -> None:
    link = Link(Fraction(100), Framing(8, "E"), expects=Framing(8, "O"))
    arrival = link.send(b"Q")[0]
    assert (arrival.value, arrival.fault) == (ord("Q"), "parity")


def test_more_data_bits_than_the_receiver_expects() -> None:
    link = Link(Fraction(100), Framing(8), expects=Framing(7))
    # Bit 7 stands where the stop bit is looked for.
    assert [(a.value, a.fault) for a in link.send(b"\x41")] == [(0x41, "framing")]
    assert [(a.value, a.fault) for a in link.send(b"\xc1")][1:] == [(0x41, "")]


def test_a_break_is_told_once() -> None:
    link = Link(Fraction(100))
    link.sender.send_levels((0,) * 35 + (1,), Fraction(36))
    link.data.append(0x5A)
    link.schedule.run_until(10_000)
    assert [(a.value, a.fault) for a in link.arrivals] == [(0, "break"), (0x5A, "")]
    assert link.arrivals[0].t == 950 and link.arrivals[1].start_t == 3600


def test_a_start_bit_that_is_too_short_is_noise() -> None:
    link = Link(Fraction(10), at=Fraction(100))
    link.sender.send_levels((0, 0, 0, 1), Fraction(40))
    link.schedule.run_until(100_000)
    assert link.arrivals == []


def test_plain_edges_are_a_waveform_too() -> None:
    link = Link(Fraction(100))
    link.schedule.run_until(1000)
    for number, level in enumerate((0, 1, 0, 0, 0, 0, 0, 1, 0, 1)):  # 'A'
        link.schedule.run_until(1000 + 97 * number)
        link.receiver.level(level)
    link.schedule.run_until(5000)
    assert link.arrivals == [Arrival(1000, 1950, 0x41, "")]


def test_a_held_line_is_a_break_and_hides_characters() -> None:
    link = Link(Fraction(100))
    link.receiver.level(0)
    link.sender.send(0x55)
    link.schedule.run_until(3000)
    assert [(a.value, a.fault) for a in link.arrivals] == [(0, "break")]
    link.receiver.level(1)
    link.schedule.run_until(4000)
    assert len(link.arrivals) == 1
    link.sender.send(0x55)
    link.schedule.run_until(6000)
    assert [(a.value, a.fault) for a in link.arrivals][1:] == [(0x55, "")]


def test_no_clock_no_characters() -> None:
    link = Link(Fraction(100))
    link.receiver.set(None, Framing())
    assert link.send(bytes(50)) == []
    assert len(link.receiver._frames) <= 1  # nothing piles up
    link.receiver.set(Fraction(100), Framing())
    link.schedule.run_until(link.schedule.now + 10_000)
    assert link.arrivals == []
    link.sender.bit_time = None
    assert link.sender.send(1) is None and not link.sender.busy


def test_a_new_speed_drops_the_character_under_way() -> None:
    link = Link(Fraction(100))
    link.sender.send(0xFF)
    link.schedule.run_until(450)
    assert link.receiver.busy
    link.receiver.set(Fraction(50), Framing())
    assert not link.receiver.busy
    link.schedule.run_until(2000)
    assert link.arrivals == []
    link.sender.bit_time = Fraction(50)
    assert [(a.value, a.fault) for a in link.send(b"!")] == [(0x21, "")]


def test_stopping_a_sender() -> None:
    link = Link(Fraction(100))
    link.data = [2]
    link.sender.send(1)
    link.schedule.run_until(300)
    link.sender.stop()
    assert not link.sender.busy
    link.schedule.run_until(5000)
    assert len(link.frames) == 1 and link.sender.free_at == 300


# --- on a board ------------------------------------------------------------------------------

UART = MINIMAL + "ports:\n  - {device: uart, at: 20, terminal: {baud: 9600}}\n"
"""The CPU clock is 2 MHz, the chip's bit 208 T-states, the terminal's 208.33."""


@pytest.fixture(autouse=True)
def _shelf(parts: None) -> None:
    """Every board here may name the devices of the tests."""


def uart(bench: Bench, name: str = "uart") -> Uart:
    device = bench.board.devices[name]
    assert isinstance(device, Uart)
    return device


def terminal(bench: Bench, name: str = "uart") -> Terminal:
    end = bench.board.serial_ends[name]
    assert isinstance(end, Terminal)
    return end


def test_a_terminal_at_a_chip() -> None:
    bench = Bench(UART)
    chip, far = uart(bench), terminal(bench)
    assert chip.terminal is far and far.bit_time == Fraction(2_000_000, 9600)
    heard: list[int] = []
    far.listeners.append(heard.append)
    far.send(b"to the board")
    for value in b"from the board":
        bench.port_out(0x20, value)
    assert far.pending == 11 and not far.idle
    bench.run_to(60_000)
    assert bytes(a.value for a in chip.arrivals) == b"to the board"
    assert bytes(far.received) == bytes(heard) == b"from the board"
    assert bench.port_in(0x20) == ord("d")
    assert far.idle and far.character_time == 10 * far.bit_time
    assert chip.site.is_wired("rxd") and chip.site.is_wired("txd")


def test_a_character_is_few_events() -> None:
    bench = Bench(UART)
    terminal(bench).send(bytes(100))
    counted = 0
    original = bench.host.schedule.at

    def at(*arguments: object) -> object:
        nonlocal counted
        counted += 1
        return original(*arguments)  # type: ignore[arg-type]

    bench.host.schedule.at = at  # type: ignore[assignment]
    bench.run_to(300_000)
    assert len(uart(bench).arrivals) == 100
    assert counted <= 2 * 100  # one at each end


@pytest.mark.parametrize(
    ("options", "fault"),
    [("baud: 1200", "break"), ("baud: 9600, format: 7E2", ""), ("baud: 9700, gap: 1 ms", "")],
)
def test_a_terminal_set_otherwise(options: str, fault: str) -> None:
    bench = Bench(UART.replace("baud: 9600", options))
    terminal(bench).send(b"$")  # 24H, an even number of ones
    bench.run_to(30_000)
    assert uart(bench).arrivals[0].fault == fault


def test_errors_that_a_terminal_counts() -> None:
    bench = Bench(UART.replace("9600", "9600, format: 7E1"))
    chip, far = uart(bench), terminal(bench)
    chip.set(Fraction(208), Framing(7, "O"))
    bench.port_out(0x20, 0x41)
    bench.run_to(3000)
    chip.set(Fraction(104), Framing(7, "E"))
    bench.port_out(0x20, 0x00)
    bench.run_to(8000)
    chip.site.drive("txd", 0)
    bench.run_to(12_000)
    chip.site.drive("txd", 1)
    bench.run_to(20_000)
    # At twice its speed, 9 bits of space are 4.5: four 1s of data and a 1 for parity.
    assert [(a.value, a.fault) for a in far.arrivals] == [
        (0x41, "parity"),
        (0x78, "parity"),
        (0x00, "break"),
    ]
    assert (far.parity_errors, far.framing_errors, far.breaks) == (2, 0, 1)
    assert not far.received


def test_a_terminal_sends_a_break() -> None:
    bench = Bench(UART)
    far = terminal(bench)
    far.send(b"a")
    far.send_break()
    far.send(b"b")
    bench.run_to(20_000)
    chip = uart(bench)
    assert [(a.value, a.fault) for a in chip.arrivals] == [(97, ""), (0, "break"), (98, "")]
    assert chip.arrivals[2].start_t - chip.arrivals[1].start_t == pytest.approx(21 * 208.33, abs=1)


def test_the_gap_between_characters() -> None:
    bench = Bench(UART.replace("9600", "9600, gap: 1 ms"))
    terminal(bench).send(b"abc")
    bench.run_to(30_000)
    starts = [a.start_t for a in uart(bench).arrivals]
    # A character of 2083.33 T-states and a gap of 2000.
    assert starts == [0, 4083, 8167]


def test_power_empties_a_terminal() -> None:
    bench = Bench(UART)
    far = terminal(bench)
    bench.port_out(0x20, 65)
    far.send(b"abc")
    bench.run_to(2500)
    assert far.received == b"A"
    bench.host.schedule.clear()
    bench.host.schedule.now = 0
    bench.board.power()
    assert far.idle and not far.received and not far.arrivals
    bench.run_to(10_000)
    assert uart(bench).arrivals == []
    far.send(b"z")
    bench.run_to(20_000)
    assert bytes(a.value for a in uart(bench).arrivals) == b"z"


def test_a_terminal_as_text() -> None:
    rows = [" ".join(row.split()) for row in describe(Bench(UART).board).splitlines()]
    assert "uart at rxd and txd: 9600 baud, 8N1, a bit is 208.333 T-states" in rows


TWO = MINIMAL + (
    "ports:\n  - {device: uart, name: one, at: 20}\n  - {device: uart, name: two, at: 21}\n"
    "wired:\n  - {device: probe, name: eye}\n"
)


def test_chip_to_chip() -> None:
    bench = Bench(TWO + "lines:\n  two.rxd: one.txd\n  one.rxd: two.txd\n")
    for value in b"ping":
        bench.port_out(0x20, value)
    bench.port_out(0x21, 0x2A)
    bench.run_to(20_000)
    assert bytes(a.value for a in uart(bench, "two").arrivals) == b"ping"
    assert bytes(a.value for a in uart(bench, "one").arrivals) == b"*"
    assert bench.board.serial_ends == {}


def test_two_senders_on_a_gate() -> None:
    bench = Bench(TWO + "lines:\n  eye.rx: {all: [one.txd, two.txd]}\n  one.rxd: one.txd\n")
    bench.port_out(0x20, 1)
    bench.port_out(0x21, 2)
    eye = bench.board.devices["eye"]
    assert isinstance(eye, Probe)
    assert [frame.levels for frame in eye.frames] == [
        levels_of(Framing(), 1),
        levels_of(Framing(), 2),
    ]


def test_characters_reach_plain_pins_bit_by_bit() -> None:
    lines = "lines:\n  SID: not one.txd\n  eye.i0: one.txd\n  eye.rx: {any: [one.txd, low]}\n"
    bench = Bench(TWO + lines)
    bench.run_to(100)
    bench.port_out(0x20, 0x41)
    bench.port_out(0x20, 0xFF)
    bench.run_to(10_000)
    eye = bench.board.devices["eye"]
    assert isinstance(eye, Probe)
    # 'A' changes at bits 0, 1, 2, 7, 8 and 9 of 208 T-states; FF at 0 and 1.
    bits = [(0, 0), (1, 1), (2, 0), (7, 1), (8, 0), (9, 1), (10, 0), (11, 1)]
    edges = [(100 + 208 * bit, level) for bit, level in bits]
    assert eye.of("i0") == [(0, 1), *edges]
    assert eye.of("rx") == [(0, 1), *edges] and eye.frames == []
    assert bench.host.of(Line.SID) == [(0, 0)] + [(t, 1 - level) for t, level in edges]


def test_bits_from_sod_reach_a_chip() -> None:
    bench = Bench(TWO + "lines:\n  one.rxd: SOD\n")
    bench.run_to(1000)
    bench.board.sod(1)
    bench.run_to(5000)
    for number, level in enumerate(levels_of(Framing(), 0x6B)):
        bench.run_to(5000 + 205 * number)
        bench.board.sod(level)
    bench.run_to(20_000)
    last = uart(bench, "one").arrivals[-1]
    assert (last.start_t, last.value, last.fault) == (5000, 0x6B, "")


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        (
            UART.replace("baud: 9600", "bawd: 9600"),
            (8, 39),
            "unknown key of a terminal 'bawd'.*did you mean 'baud'",
        ),
        (UART.replace("{baud: 9600}", "9600"), (8, 38), "a terminal must be a table of keys"),
        (UART.replace("baud: 9600", "format: 8N1"), (8, 38), "a terminal has no 'baud'"),
        (UART.replace("9600", "9600, format: 9N1"), (8, 59), "'9N1' is not a serial format"),
        (
            UART + "lines:\n  uart.rxd: uart.txd\n",
            (10, 3),
            "uart.rxd is driven by its terminal; expected either terminal or this",
        ),
        (
            UART.replace("device: uart", "device: latch"),
            (8, 29),
            "unknown key of device latch 'terminal'",
        ),
    ],
)
def test_mistakes(text: str, place: tuple[int, int], words: str) -> None:
    with pytest.raises(UserError, match=words) as caught:
        fit(read_board(text, "bad.yaml"))
    assert (caught.value.place.line, caught.value.place.column) == place


def test_a_pulse_of_no_length_is_none() -> None:
    link = Link(Fraction(100))
    link.schedule.run_until(1000)
    for level in (0, 1):
        link.receiver.level(level)
    link.schedule.run_until(5000)
    assert link.arrivals == []
    link.receiver.level(0)
    link.schedule.run_until(5300)
    for level in (1, 0):  # the break goes on
        link.receiver.level(level)
    link.schedule.run_until(50_000)
    assert [(a.start_t, a.value, a.fault) for a in link.arrivals] == [(5000, 0, "break")]
