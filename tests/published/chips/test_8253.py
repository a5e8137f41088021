"""The 8253 and the 8254 driven by firmware over the bus; their waveforms in T-states.

Source: Intel 8253/8253-5 and 8254 Programmable Interval Timer data sheets; the part
each check rests on is named beside it.  All values from memory.

The CPU clock is 1 MHz and CLK is 100 kHz: it rises at T-states 0, 10, 20 ... and
falls at 5, 15, 25 ...  A byte written counts from the end of its I/O write cycle; a
read shows the count as its machine cycle begins.  Of a write or read and an edge of
CLK at one T-state, the edge comes second.
"""

from __future__ import annotations

import pytest

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle

from .bench import Bench, head

HEAD = head("2 MHz")

BOARD = """
ports:
  - {device: KIND, name: timer, at: 20-23}
  - {device: peripheral, name: probe, at: 30}
wired:
  - {device: oscillator, name: clock, rate: 100 kHz}
lines:
  timer.clk0: clock.out
  timer.clk1: clock.out
  timer.clk2: clock.out
  timer.gate0-gate2: probe.q0-q2
  probe.p0-p2: timer.out0-out2
"""

NAMES = """
CNT0    EQU 20H
CNT1    EQU 21H
CNT2    EQU 22H
CTRL    EQU 23H
GATE    EQU 30H
PAUSE   MACRO N             ; 14 T-states each, and 6 more
        LOCAL AGAIN
        MVI B, N
AGAIN:  DCR B
        JNZ AGAIN
        ENDM
"""

CLK = 10
KINDS = ("8253", "8254")
both = pytest.mark.parametrize("kind", KINDS)


class TimerBench(Bench):
    """A timer whose three counters have one clock, gates on a latch and watched outputs."""

    def __init__(self, kind: str, firmware: str, *, after: int = 1000, board: str = BOARD) -> None:
        super().__init__(board.replace("KIND", kind), head=HEAD)
        self.kept = self.run(NAMES + firmware)
        self.machine.run(t_states=after, wait=True)

    def out(self, number: int, *, since: int = 0) -> list[tuple[int, int]]:
        """Changes of an OUT after power-on, from a T-state on."""
        changes = self.changes("probe", f"p{number}")
        assert changes[0] == (0, 0)  # low until programmed, which is our choice
        return [change for change in changes[1:] if change[0] >= since]

    def written(self, port: int) -> list[int]:
        """T-states at which writes to a port took effect."""
        return self.ends_of(Cycle.IOW, port)

    def asked(self, port: int) -> list[int]:
        """T-states at which reads of a port began."""
        return [end - 3 for end in self.ends_of(Cycle.IOR, port)]


def pulse_after(t: int) -> int:
    """Falling edge that ends the first whole CLK pulse after ``t``: it loads a count."""
    return -(-t // CLK) * CLK + CLK // 2


def gone(load: int, t: int) -> int:
    """Falling edges of CLK after the one at ``load`` and before ``t``."""
    return (t - load - 1) // CLK


def rises(start: int, end: int) -> int:
    """Rising edges of CLK from ``start`` up to but not including ``end``."""
    return -(-end // CLK) - -(-start // CLK)


# --- mode 0: interrupt on terminal count ----------------------------------------------------------


@both
def test_mode_0_out_rises_n_plus_1_pulses_after_the_count(kind: str) -> None:
    """'OUT does not go high until N + 1 CLK pulses after the initial count is written'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 10H       ; counter 0, low byte, mode 0
        PUT CNT0, 5
        """,
    )
    (count,) = bench.written(0x20)
    assert bench.out(0) == [(pulse_after(count) + 5 * CLK, 1)]


@both
def test_mode_0_control_word_takes_out_low_at_once(kind: str) -> None:
    """'After the control word is written, OUT is initially low'; no CLK pulse is needed."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 14H       ; mode 2: OUT high
        PUT CTRL, 10H
        """,
    )
    assert bench.out(0) == [(bench.written(0x23)[0], 1), (bench.written(0x23)[1], 0)]


@both
def test_mode_0_gate_low_holds_the_count(kind: str) -> None:
    """'GATE = 1 enables counting; GATE = 0 disables counting', sampled at rising edges."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 10H
        PUT CNT0, 20
        PUT GATE, 0FEH
        PAUSE 9
        PUT GATE, 0FFH
        """,
    )
    (count,), (closed, opened) = bench.written(0x20), bench.written(0x30)
    held = rises(closed, opened)
    assert held > 5
    assert bench.out(0) == [(pulse_after(count) + (20 + held) * CLK, 1)]


@both
def test_mode_0_a_count_is_loaded_while_gate_is_low(kind: str) -> None:
    """'If an initial count is written while GATE = 0, it will still be loaded on the next
    CLK pulse. When GATE goes high, OUT will go high N CLK pulses later'."""
    bench = TimerBench(
        kind,
        """
        PUT GATE, 0FEH
        PUT CTRL, 10H
        PUT CNT0, 5
        PAUSE 9
        PUT GATE, 0FFH
        """,
    )
    opened = bench.written(0x30)[-1]
    assert bench.out(0) == [(pulse_after(opened) + 4 * CLK, 1)]


@both
def test_mode_0_first_byte_stops_and_second_starts(kind: str) -> None:
    """'Writing the first byte disables counting. OUT is set low immediately. Writing the
    second byte allows the new count to be loaded on the next CLK pulse'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 30H       ; low byte, then high byte
        PUT CNT0, 2
        PUT CNT0, 0
        PAUSE 9             ; OUT goes high
        PUT CNT0, 1
        PAUSE 9
        PUT CNT0, 1         ; 0101H
        """,
        after=5000,
    )
    writes = bench.written(0x20)
    assert bench.out(0) == [
        (pulse_after(writes[1]) + 2 * CLK, 1),
        (writes[2], 0),
        (pulse_after(writes[3]) + 0x101 * CLK, 1),
    ]


@both
def test_mode_0_goes_on_counting_after_terminal_count(kind: str) -> None:
    """'The counter wraps around' in modes 0, 1, 4 and 5: FFFF, or 9999 in BCD."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 10H
        PUT CTRL, 51H       ; counter 1 in BCD
        PUT CNT0, 2
        PUT CNT1, 2
        PAUSE 9
        PUT CTRL, 00H       ; latch
        PUT CTRL, 40H
        KEEP CNT0
        KEEP CNT1
        """,
    )
    latch = bench.written(0x23)[2:]
    pulses = [gone(pulse_after(bench.written(0x20 + n)[0]), at) for n, at in enumerate(latch)]
    assert bench.kept == [(2 - pulses[0]) & 0xFF, _bcd(10000 + 2 - pulses[1]) & 0xFF]


def _bcd(number: int) -> int:
    return int(str(number), 16)


# --- mode 1: hardware retriggerable one-shot ------------------------------------------------------


@both
def test_mode_1_one_shot(kind: str) -> None:
    """'OUT will go low on the CLK pulse following a trigger ... and will remain low until
    the counter reaches zero': N CLK pulses.  GATE falling again has no effect on OUT."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 12H
        PUT CNT0, 7
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        PUT GATE, 0FEH
        """,
    )
    trigger = bench.written(0x30)[1]
    low = pulse_after(trigger)
    assert bench.out(0) == [(bench.written(0x23)[0], 1), (low, 0), (low + 7 * CLK, 1)]


@both
def test_mode_1_is_retriggerable_and_a_new_count_waits_for_a_trigger(kind: str) -> None:
    """'The one-shot pulse can be repeated without rewriting the same count'; 'a new count
    does not affect the current one-shot unless the counter is retriggered'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 12H
        PUT CNT0, 30
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        PUT CNT0, 12
        PAUSE 9
        PUT GATE, 0FEH
        PUT GATE, 0FFH      ; while OUT is low: 12 from here
        PAUSE 20
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        """,
    )
    first, again, last = bench.written(0x30)[1::2]
    assert pulse_after(again) < pulse_after(first) + 30 * CLK
    assert bench.out(0)[1:] == [
        (pulse_after(first), 0),
        (pulse_after(again) + 12 * CLK, 1),
        (pulse_after(last), 0),
        (pulse_after(last) + 12 * CLK, 1),
    ]


# --- mode 2: rate generator -----------------------------------------------------------------------


@both
@pytest.mark.parametrize("count", [2, 3, 10])
def test_mode_2_is_low_for_one_pulse_in_n(kind: str, count: int) -> None:
    """'OUT goes low N CLK pulses after the initial count is written' and is low for one."""
    bench = TimerBench(
        kind,
        f"""
        PUT CTRL, 14H
        PUT CNT0, {count}
        """,
    )
    load = pulse_after(bench.written(0x20)[0])
    expected = [(bench.written(0x23)[0], 1)]
    for period in range(3):
        reload = load + (period + 1) * count * CLK
        expected += [(reload - CLK, 0), (reload, 1)]
    assert bench.out(0)[:7] == expected


@both
def test_mode_2_gate_low_puts_out_high_and_a_trigger_starts_over(kind: str) -> None:
    """'If GATE goes low during an output pulse, OUT is set high immediately. A trigger
    reloads the counter ...; OUT goes low N CLK pulses after the trigger'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 14H
        PUT CNT0, 2         ; low half of the time
        PAUSE 2
        PUT GATE, 0FEH
        PAUSE 2
        PUT GATE, 0FFH
        """,
    )
    closed, opened = bench.written(0x30)
    after = bench.out(0, since=closed)
    low = [t for t, level in after if not level]
    assert low[0] == pulse_after(opened) + CLK


def test_mode_2_gate_low_within_the_pulse() -> None:
    """The same, GATE being taken low for certain while OUT is low: count 2, and the write
    placed by padding so that it ends in every phase of the pair of CLK pulses."""
    cut = 0
    for padding in range(5):
        bench = TimerBench(
            "8254",
            f"""
            PUT CTRL, 14H
            PUT CNT0, 2
            {"NOP" if padding & 1 else ""}
            {"INX D" if padding & 2 else ""}
            {"MOV A, M" if padding & 4 else ""}
            PUT GATE, 0FEH
            """,
        )
        (closed,) = bench.written(0x30)
        load = pulse_after(bench.written(0x20)[0])
        was_low = (closed - load) // CLK % 2 == 1 and (closed - load) % CLK != 0
        assert ((closed, 1) in bench.out(0)) == was_low
        assert bench.out(0)[-1][1] == 1
        cut += was_low
    assert cut


@both
def test_mode_2_new_count_waits_for_the_end_of_the_period(kind: str) -> None:
    """'Otherwise the new count will be loaded at the end of the current counting cycle'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 14H
        PUT CNT0, 20
        PUT CNT0, 5
        """,
    )
    load = pulse_after(bench.written(0x20)[0])
    reload = load + 20 * CLK
    assert bench.out(0)[1:7] == [
        (reload - CLK, 0),
        (reload, 1),
        (reload + 4 * CLK, 0),
        (reload + 5 * CLK, 1),
        (reload + 9 * CLK, 0),
        (reload + 10 * CLK, 1),
    ]


@both
def test_mode_2_trigger_brings_the_new_count_in(kind: str) -> None:
    """'If a trigger is received after writing a new count but before the end of the current
    period, the counter will be loaded with the new count on the next CLK pulse'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 14H
        PUT CNT0, 100
        PUT CNT0, 5
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        """,
    )
    load = pulse_after(bench.written(0x30)[1])
    assert bench.out(0)[1:4] == [(load + 40, 0), (load + 50, 1), (load + 90, 0)]


# --- mode 3: square wave --------------------------------------------------------------------------


@both
@pytest.mark.parametrize(
    ("count", "high", "low"), [(2, 1, 1), (4, 2, 2), (3, 2, 1), (5, 3, 2), (9, 5, 4)]
)
def test_mode_3_square_wave(kind: str, count: int, high: int, low: int) -> None:
    """Even: N/2 high and N/2 low; odd: (N + 1)/2 high and (N - 1)/2 low."""
    bench = TimerBench(
        kind,
        f"""
        PUT CTRL, 16H
        PUT CNT0, {count}
        """,
    )
    t = pulse_after(bench.written(0x20)[0])
    expected = [(bench.written(0x23)[0], 1)]
    for _ in range(4):
        expected += [(t + high * CLK, 0), (t + (high + low) * CLK, 1)]
        t += (high + low) * CLK
    assert bench.out(0)[:9] == expected


@pytest.mark.parametrize(
    ("kind", "count", "sequence"),
    [
        ("8254", 4, [4, 2, 4, 2]),
        ("8253", 4, [4, 2, 4, 2]),
        ("8254", 5, [4, 2, 0, 4, 2]),
        ("8253", 5, [5, 4, 2, 5, 2]),
    ],
)
def test_mode_3_counts(kind: str, count: int, sequence: list[int]) -> None:
    """8254: an odd count less one is loaded and goes down by two; 8253: the first pulse of
    the high half takes off one, that of the low half three, all others two."""
    bench = TimerBench(
        kind,
        f"PUT CTRL, 16H\n PUT CNT0, {count}\n" + " KEEP CNT0\n INX D\n" * 30,
    )
    load = pulse_after(bench.written(0x20)[0])
    asked = bench.asked(0x20)
    expected = [sequence[gone(load, t) % count] for t in asked if t > load]
    assert bench.kept[-len(expected) :] == expected
    assert set(expected) == set(sequence)


@both
def test_mode_3_new_count_waits_for_the_end_of_the_half_cycle(kind: str) -> None:
    """'Otherwise the new count will be loaded at the end of the current half-cycle'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 16H
        PUT CNT0, 40
        PUT CNT0, 6
        """,
    )
    half = pulse_after(bench.written(0x20)[0]) + 20 * CLK
    assert bench.out(0)[1:4] == [(half, 0), (half + 30, 1), (half + 60, 0)]


@both
def test_mode_3_gate_low_puts_out_high_and_a_trigger_starts_over(kind: str) -> None:
    """'If GATE goes low while OUT is low, OUT is set high immediately ... A trigger reloads
    the counter with the initial count on the next CLK pulse'."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 16H
        PUT CNT0, 40
        PAUSE 18
        PUT GATE, 0FEH      ; in the low half
        PUT GATE, 0FFH
        """,
    )
    closed, opened = bench.written(0x30)
    half = pulse_after(bench.written(0x20)[0]) + 20 * CLK
    assert half < closed < half + 20 * CLK
    assert bench.out(0)[1:4] == [(half, 0), (closed, 1), (pulse_after(opened) + 20 * CLK, 0)]


# --- modes 4 and 5: strobes -----------------------------------------------------------------------


@both
def test_mode_4_software_triggered_strobe(kind: str) -> None:
    """'OUT will strobe low N + 1 CLK pulses after the initial count is written' for one."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 18H
        PUT CNT0, 6
        """,
    )
    strobe = pulse_after(bench.written(0x20)[0]) + 6 * CLK
    assert bench.out(0) == [(bench.written(0x23)[0], 1), (strobe, 0), (strobe + CLK, 1)]


@both
def test_mode_4_gate_holds_and_a_new_count_starts_over(kind: str) -> None:
    """'GATE = 0 disables counting'; a new count 'will be loaded on the next CLK pulse and
    counting will continue from the new count'; it strobes once for each."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 18H
        PUT CNT0, 60
        PUT CNT0, 20        ; before it strobes
        PUT GATE, 0FEH
        PAUSE 5
        PUT GATE, 0FFH
        """,
        after=2000,
    )
    closed, opened = bench.written(0x30)
    load = pulse_after(bench.written(0x20)[1])
    strobe = load + (20 + rises(closed, opened)) * CLK
    assert bench.out(0)[1:] == [(strobe, 0), (strobe + CLK, 1)]


@both
def test_mode_5_hardware_triggered_strobe(kind: str) -> None:
    """'OUT will not strobe low until N + 1 CLK pulses after a trigger'; retriggerable."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 1AH
        PUT CNT0, 15
        PAUSE 20            ; nothing without a trigger
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        PUT GATE, 0FEH
        PUT GATE, 0FFH
        """,
    )
    strobe = pulse_after(bench.written(0x30)[3]) + 15 * CLK
    assert bench.out(0)[1:] == [(strobe, 0), (strobe + CLK, 1)]


# --- reading and writing --------------------------------------------------------------------------


@both
def test_bytes_by_access_mode(kind: str) -> None:
    """Read/load bits 01: low byte, the high one is zero; 10: high byte, the low one is zero;
    11: low byte first."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 10H
        PUT CTRL, 60H
        PUT CTRL, 0B0H
        PUT GATE, 0F8H      ; loaded, but not counting
        PUT CNT0, 34H
        PUT CNT1, 12H
        PUT CNT2, 78H
        PUT CNT2, 56H
        PAUSE 2
        KEEP CNT0
        KEEP CNT0
        KEEP CNT1
        KEEP CNT1
        KEEP CNT2
        KEEP CNT2
        KEEP CNT2
        """,
    )
    assert bench.kept == [0x34, 0x34, 0x12, 0x12, 0x78, 0x56, 0x78]


@both
def test_zero_is_the_highest_count(kind: str) -> None:
    """'The largest possible initial count is 0': 10000H, or 10000 in BCD."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 34H       ; mode 2, two bytes
        PUT CTRL, 75H       ; the same in BCD
        PUT CNT0, 0
        PUT CNT0, 0
        PUT CNT1, 0
        PUT CNT1, 0
        """,
        after=1_400_000,
    )
    for number, period in enumerate((0x10000, 10000)):
        load = pulse_after(bench.written(0x20 + number)[1])
        low = [t for t, level in bench.out(number) if not level]
        assert low[:2] == [load + (period - 1) * CLK, load + (2 * period - 1) * CLK]


@both
def test_bcd_counts_in_decimal(kind: str) -> None:
    """Bit 0 of the control word: four decades; 1000 is followed by 0999."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 31H
        PUT CNT0, 00H
        PUT CNT0, 10H
        PAUSE 5
        PUT CTRL, 00H
        KEEP CNT0
        KEEP CNT0
        """,
    )
    latched = bench.written(0x23)[1]
    pulses = gone(pulse_after(bench.written(0x20)[1]), latched)
    assert pulses > 1
    expected = _bcd(1000 - pulses)
    assert bench.kept == [expected & 0xFF, expected >> 8]


@both
def test_a_latched_count_stands_until_it_is_read(kind: str) -> None:
    """'The count is held in the latch until it is read by the CPU'; a second latch command
    before that is ignored, and the counter itself goes on."""
    bench = TimerBench(
        kind,
        """
        PUT CTRL, 30H
        PUT CNT0, 00H
        PUT CNT0, 40H
        PAUSE 5
        PUT CTRL, 00H
        PAUSE 5
        PUT CTRL, 00H
        KEEP CNT0
        PAUSE 5
        KEEP CNT0
        PUT CTRL, 00H
        KEEP CNT0
        KEEP CNT0
        """,
    )
    load = pulse_after(bench.written(0x20)[1])
    _, first, _, last = bench.written(0x23)
    counts = [0x4000 - gone(load, at) for at in (first, last)]
    assert bench.kept == [byte for count in counts for byte in (count & 0xFF, count >> 8)]


@both
def test_reads_without_a_latch_follow_the_counter(kind: str) -> None:
    """A simple read gives the count of the moment."""
    bench = TimerBench(
        kind,
        "PUT CTRL, 10H\n PUT CNT0, 200\n PAUSE 2\n" + " KEEP CNT0\n" * 8,
    )
    load = pulse_after(bench.written(0x20)[0])
    assert bench.kept == [200 - gone(load, t) for t in bench.asked(0x20)]
    assert len(set(bench.kept)) == 8


# --- the 8254's read-back command -----------------------------------------------------------------


def test_read_back_status() -> None:
    """Status: D7 OUT, D6 null count, D5-D0 as in the control word; null count is 1 from a
    control word or a count on until the count is loaded."""
    bench = TimerBench(
        "8254",
        """
        PUT GATE, 0FDH
        PUT CTRL, 72H       ; counter 1, both bytes, mode 1: waits for its gate
        PUT CTRL, 0E4H      ; read back: status of counter 1
        KEEP CNT1
        PUT CNT1, 9
        PUT CNT1, 0
        PAUSE 5
        PUT CTRL, 0E4H
        KEEP CNT1
        PUT GATE, 0FFH
        PAUSE 2
        PUT CTRL, 0E4H
        KEEP CNT1
        PAUSE 9
        PUT CTRL, 0E4H
        KEEP CNT1
        """,
    )
    word = 0x32
    assert bench.kept == [0xC0 | word, 0xC0 | word, word, 0x80 | word]


def test_read_back_of_several_counters() -> None:
    """One command latches counts and status of all counters named; the status is read
    first, then the count; what is latched already stays."""
    bench = TimerBench(
        "8254",
        """
        PUT CTRL, 30H
        PUT CTRL, 54H
        PUT CTRL, 0B1H      ; BCD
        PUT CNT0, 00H
        PUT CNT0, 20H
        PUT CNT1, 150
        PUT CNT2, 00H
        PUT CNT2, 30H
        PAUSE 5
        PUT CTRL, 0CEH      ; count and status of all three
        PAUSE 5
        PUT CTRL, 0CEH      ; ignored
        KEEP CNT2
        KEEP CNT2
        KEEP CNT2
        KEEP CNT1
        KEEP CNT1
        KEEP CNT0
        KEEP CNT0
        KEEP CNT0
        """,
    )
    latched = bench.written(0x23)[3]
    load = [pulse_after(bench.written(0x20 + n)[-1]) for n in range(3)]
    count = [start - gone(at, latched) for start, at in zip((0x2000, 150, 3000), load, strict=True)]
    assert bench.kept == [
        0x31,
        _bcd(count[2]) & 0xFF,
        _bcd(count[2]) >> 8,
        0x94,
        count[1],
        0x30,
        count[0] & 0xFF,
        count[0] >> 8,
    ]


def test_read_back_latches_only_what_it_names() -> None:
    """Bit 5 low: counts; bit 4 low: status; bits 3-1: the counters."""
    bench = TimerBench(
        "8254",
        """
        PUT GATE, 0F8H
        PUT CTRL, 10H
        PUT CTRL, 50H
        PUT CNT0, 77H
        PUT CNT1, 66H
        PAUSE 3
        PUT CTRL, 0D2H      ; the count of counter 0
        PUT CTRL, 0E8H      ; the status of counter 2
        PUT CNT0, 11H
        PUT CNT1, 22H
        PAUSE 3
        KEEP CNT0
        KEEP CNT0
        KEEP CNT1
        KEEP CNT2           ; never programmed: null count, low byte, mode 0
        """,
    )
    assert bench.kept == [0x77, 0x11, 0x22, 0x50]


def test_the_8253_knows_no_read_back() -> None:
    """Counter number 3 is illegal in the 8253; that nothing happens is our choice."""
    bench = TimerBench(
        "8253",
        """
        PUT CTRL, 10H
        PUT GATE, 0FEH
        PUT CNT0, 99
        PAUSE 2
        PUT CTRL, 0C2H
        KEEP CNT0
        """,
    )
    assert bench.kept == [99]


# --- counters in a chain, and what it costs -------------------------------------------------------


CHAIN = BOARD.replace("timer.clk1: clock.out", "timer.clk1: timer.out0").replace(
    "timer.clk2: clock.out", "timer.clk2: timer.out1"
)


@both
@pytest.mark.parametrize(("mode", "falls_at"), [(2, 6), (3, 4)], ids=["mode 2", "mode 3"])
def test_a_chain_of_counters(kind: str, mode: int, falls_at: int) -> None:
    """OUT 0 clocks counter 1 (mode 0): its pulses end where OUT 0 falls, which is 6 CLK
    pulses into each period of 7 in mode 2 and 4 in mode 3."""
    bench = TimerBench(
        kind,
        f"""
        PUT CTRL, {0x14 if mode == 2 else 0x16}
        PUT CTRL, 50H
        PUT CNT0, 7
        PUT CNT1, 3
        """,
        board=CHAIN,
        after=2000,
    )
    load = pulse_after(bench.written(0x20)[0])
    given = bench.written(0x21)[0]
    falls = [load + (7 * n + falls_at) * CLK for n in range(40)]
    rises_before = [load] + [load + 7 * n * CLK for n in range(1, 40)]
    whole = [fall for rise, fall in zip(rises_before, falls, strict=True) if rise >= given]
    assert bench.out(1) == [(whole[3], 1)]


def test_an_idle_timer_sets_no_deadline() -> None:
    """Dividers that nobody watches, or that clock one another, are arithmetic only."""
    board = CHAIN.replace("  probe.p0-p2: timer.out0-out2\n", "")
    firmware = """
        PUT CTRL, 36H
        PUT CNT0, 0E8H
        PUT CNT0, 3
        PUT CTRL, 76H
        PUT CNT1, 0E8H
        PUT CNT1, 3
        PUT CTRL, 0B0H
        PUT CNT2, 10
        PUT CNT2, 0
        """
    bench = Bench(board.replace("KIND", "8254"), head=HEAD)
    bench.run(NAMES + firmware)
    bench.machine.run(t_states=20_000, wait=True)  # each has loaded its count
    assert bench.machine.schedule.next_t == NEVER
    # OUT 1 rises at 10, 20 ... million T-states after the loads and falls 5 later: the
    # first of these pulses loads, the second counts.
    bench.machine.run(t_states=30_000_000, wait=True)
    assert bench.machine.board.peek(0x10000 + 0x22) == 10 - 1
