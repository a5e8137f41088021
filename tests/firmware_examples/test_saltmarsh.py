"""The tide gauge's firmware, run for real on its board."""

from __future__ import annotations

import re
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.board.shelf import folder
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from tests.firmware_examples.gauge import Gauge, bit_time, sod_edges

CLOCK = 3_072_000
"""Hertz: half the crystal of 6.144 MHz."""
TICKS = 8
"""Ticks a second, from the board file."""


@pytest.fixture(scope="module")
def gauge() -> Gauge:
    """A gauge past its greeting, which tests may talk to one after another."""
    gauge = Gauge()
    gauge.greeting()
    return gauge


def no_harm(gauge: Gauge) -> None:
    """Nothing that a bench would punish has happened."""
    assert list(gauge.machine.findings) == []
    line = gauge.line
    assert (line.framing_errors, line.parity_errors, line.breaks) == (0, 0, 0)


# --- greeting and words -----------------------------------------------------------


def test_greeting_names_the_station_and_how_to_begin() -> None:
    gauge = Gauge()
    assert gauge.greeting() == (
        "\r\nsaltmarsh tide gauge, station 42\r\nPress the key on the lid to start logging.\r\n"
    )
    no_harm(gauge)


def test_shipped_dialogue_is_what_the_board_says() -> None:
    text = (folder("firmware_examples") / "saltmarsh.md").read_text("utf-8")
    first, second = re.findall(r"```dialogue\n(.*?)```", text, re.DOTALL)
    gauge = Gauge()
    assert gauge.greeting() + "tide> " + replay(gauge, first) == on_the_wire("\n" + first)
    gauge.press_key()
    gauge.wait(13)
    assert "tide> " + replay(gauge, second) == on_the_wire(second)
    no_harm(gauge)


def replay(gauge: Gauge, dialogue: str) -> str:
    """Type what stands after the prompts of a dialogue; what comes back, prompts included."""
    typed = re.findall(r"^tide> (.+)$", dialogue, re.MULTILINE)
    return "".join(gauge.ask(keys) + "tide> " for keys in typed)


def on_the_wire(dialogue: str) -> str:
    return dialogue.removesuffix("\n").replace("\n", "\r\n") + " "


@pytest.mark.parametrize(
    ("keys", "answer"),
    [
        ("alarm 250", "alarm from 250\r\n"),
        ("alarm", "alarm from 250\r\n"),
        ("alarm off", "alarm off\r\n"),
        ("log", "paused, entries: 0\r\n"),
        ("forget", "paused, entries: 0\r\n"),
        ("beep", ""),
        ("", ""),
        ("   ", ""),
        ("time 23 59 7", "23:59:07\r\n"),
        ("  alarm   0  ", "alarm from 0\r\n"),
        ("ALARM off", "alarm off\r\n"),
        # mistakes
        ("tide 5", "? no word tide, try help\r\n"),
        ("leve", "? no word leve, try help\r\n"),
        ("levels", "? no word levels, try help\r\n"),
        ("level 3", "? nothing may follow\r\n"),
        ("beep beep", "? nothing may follow\r\n"),
        ("help me", "? nothing may follow\r\n"),
        ("alarm 256", "? alarm 0 to 255, or off\r\n"),
        ("alarm 25x", "? alarm 0 to 255, or off\r\n"),
        ("alarm -1", "? alarm 0 to 255, or off\r\n"),
        ("alarm offer", "? alarm 0 to 255, or off\r\n"),
        ("alarm 1 2", "? alarm 0 to 255, or off\r\n"),
        ("log 0", "? log 1 to 64\r\n"),
        ("log 65", "? log 1 to 64\r\n"),
        ("log all", "? log 1 to 64\r\n"),
        ("time 24 0 0", "? time 12 30 00\r\n"),
        ("time 1 60 0", "? time 12 30 00\r\n"),
        ("time 1 0 60", "? time 12 30 00\r\n"),
        ("time 1 2", "? time 12 30 00\r\n"),
        ("time 1 2 3 4", "? time 12 30 00\r\n"),
    ],
)
def test_every_word_answers(gauge: Gauge, keys: str, answer: str) -> None:
    assert gauge.answer(keys) == answer
    no_harm(gauge)


def test_help_names_every_word(gauge: Gauge) -> None:
    answer = gauge.answer("help")
    assert [row.split()[0] for row in answer.splitlines()] == [
        "level", "log", "time", "alarm", "beep", "forget",
    ]  # fmt: skip


@pytest.mark.parametrize("level", [0, 9, 10, 99, 100, 255])
def test_level_is_the_floats(gauge: Gauge, level: int) -> None:
    gauge.set_level(level)
    assert gauge.answer("level") == f"level {level}\r\n"
    # A bar of four lamps, one for each full fifth of 255.
    bar = (1 << min(level // 51, 4)) - 1
    assert lamps(gauge) >> 4 == bar


def lamps(gauge: Gauge) -> int:
    """The last byte written to the lamps' port."""
    trace = gauge.machine.trace.all()
    written = trace[(trace["type"] == Cycle.IOW) & (trace["address"] == 0x1111)]
    return int(written["data"][-1])


# --- the line ---------------------------------------------------------------------


def test_full_line_speed_loses_nothing() -> None:
    gauge = Gauge(gap="0 ms")
    gauge.greeting()
    gauge.set_level(0)
    for keys in ("alarm 123", "no such word at all, 32 letters.", "~" * 32, "alarm"):
        assert gauge.ask(keys).startswith(keys + "\r\n")
    assert gauge.answer("alarm") == "alarm from 123\r\n"
    assert gauge.answer("a" * 33) == "? at most 32 characters\r\n"
    no_harm(gauge)


def test_any_gap_between_characters_will_do() -> None:
    for gap in ("100 us", "833 us", "4 ms", "60 ms"):
        gauge = Gauge(gap=gap)
        gauge.greeting()
        gauge.set_level(0)
        assert gauge.answer("alarm 77") == "alarm from 77\r\n"
        no_harm(gauge)


def test_an_answer_may_begin_the_moment_the_prompt_is_there() -> None:
    gauge = Gauge()
    line = gauge.line

    def quick(_: int) -> None:
        if line.received.endswith(b"tide> ") and line.received.count(b"tide> ") == 1:
            line.send(b"alarm 9\r")

    line.listeners.append(quick)
    gauge.machine.run(seconds=2)
    assert line.received.endswith(b"tide> alarm 9\r\nalarm from 9\r\ntide> ")
    no_harm(gauge)


def test_editing_the_line(gauge: Gauge) -> None:
    rub = "\b \b"
    assert gauge.ask("alarn\bm of\b\boff") == f"alarn{rub}m of{rub}{rub}off\r\nalarm off\r\n"
    assert gauge.ask("ab\x7f\x7f\x7falarm") == f"ab\x7f{rub}\x7f{rub}\x7falarm\r\nalarm off\r\n"
    assert gauge.ask("\balarm") == "\b alarm\r\nalarm off\r\n"
    gauge.line.send(b"rubbish\x15")
    gauge.wait(1)
    assert gauge.line.received.endswith(b"rubbish\x15\r\ntide> ")
    assert gauge.answer("alarm") == "alarm off\r\n"
    no_harm(gauge)


def test_a_line_that_hangs_and_noise_are_no_characters() -> None:
    gauge = Gauge()
    gauge.greeting()
    for seconds in (0.0001, 1.0):  # shorter than a start bit; a break
        gauge.machine.drive(Line.SID, 0)
        gauge.machine.run(seconds=seconds)
        gauge.machine.drive(Line.SID, 1)
        gauge.wait(0.1)
    assert time_in_ticks(gauge) == int(gauge.machine.seconds * TICKS)
    assert gauge.answer("alarm off").endswith("alarm off\r\n")


def test_transmitter_bits_are_exact_to_the_t_state() -> None:
    gauge = Gauge()
    gauge.greeting()
    bit = bit_time()
    assert bit == Fraction(6_144_000, 2 * 1200) == 2560
    edges = sod_edges(gauge.machine)
    worst = Fraction(0)
    measured = 0
    for arrival in gauge.line.arrivals:
        inside = edges[(edges > arrival.start_t) & (edges < arrival.start_t + 9.5 * bit)]
        offsets = [Fraction(int(t) - arrival.start_t) for t in inside]
        worst = max([worst, *(abs(t / bit - round(t / bit)) for t in offsets)])
        measured += len(offsets)
    assert measured > 300
    assert worst < Fraction(1, 100)
    assert worst == 0  # what the comments promise
    starts = np.diff([a.start_t for a in gauge.line.arrivals])
    assert starts.min() >= 10 * bit  # whole stop bits


def test_receiver_samples_inside_the_bits_while_ticks_come() -> None:
    gauge = Gauge(gap="0 ms", trace=3_000_000)
    gauge.greeting()
    gauge.press_key()
    gauge.ask("time 0 59 59")
    for _ in range(3):
        gauge.ask("nothing 1234567890 UUUUUUUUUUUU")
    trace = gauge.machine.trace.all()
    sid = (trace["lines"] & Line.SID) != 0
    falls = trace["t"][np.flatnonzero(sid[:-1] & ~sid[1:]) + 1]
    fetched = trace[trace["type"] == Cycle.OF]
    samples = fetched["t"][fetched["address"] == gauge.machine.symbols["HBIT"]].reshape(-1, 9)
    assert len(samples) == 3 * 32 + 13
    assert set(np.diff(samples, axis=1).ravel()) == {int(bit_time())}
    for first in samples[:, 0]:
        began = falls[falls < first][-1]
        # 788 T-states of delay and at most 1100 of a tick's work, a few of detection.
        assert 788 <= first - began < 788 + 1150
    no_harm(gauge)


def test_a_wait_state_at_the_converter() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.wait(1)
    trace = gauge.machine.trace.all()
    started = trace[(trace["type"] == Cycle.IOW) & (trace["address"] == 0x1818)]
    assert len(started) > 1
    assert set(started["waits"]) == {1}


# --- time -------------------------------------------------------------------------


def time_in_ticks(gauge: Gauge) -> int:
    """The firmware's clock, with ticks it has still to work on."""
    hour, minute, second = (gauge.variable(name) for name in ("HOUR", "MINUTE", "SECOND"))
    worked = ((hour * 60 + minute) * 60 + second) * TICKS + gauge.variable("SUBTICK")
    return worked + gauge.variable("DUE")


def test_no_tick_is_lost_while_characters_pass() -> None:
    # The clock starts in the first 30 ms, before the first tick; from there on it
    # counts every tick of the board.
    gauge = Gauge()
    gauge.greeting()
    for keys in ("help", "log", "time", "help", "level"):
        gauge.ask(keys)
        gauge.wait(0.1)
        assert time_in_ticks(gauge) == int(gauge.machine.seconds * TICKS)
    gauge.wait(61)
    passed = int(gauge.machine.seconds)
    # Typing the word takes 5 characters of 8.3 ms and 4 gaps of 30 ms.
    answer = gauge.answer("time")
    assert answer in {f"00:{t // 60:02}:{t % 60:02}\r\n" for t in (passed, passed + 1)}
    no_harm(gauge)


def test_midnight() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.ask("time 23 59 58")
    gauge.wait(2)
    assert gauge.answer("time") in ("00:00:00\r\n", "00:00:01\r\n")


# --- key, log, alarm ----------------------------------------------------------------


def test_logging_waits_for_the_key_and_pauses_with_it() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.wait(20)
    assert gauge.answer("log") == "paused, entries: 0\r\n"
    gauge.machine.board.adjust("key", "down")
    gauge.wait(0.3)
    assert lamps(gauge) & 0b111 == 0b111  # ready, logging, key
    gauge.wait(2)  # held down, it is pressed once
    gauge.machine.board.adjust("key", "up")
    gauge.wait(0.5)
    assert lamps(gauge) & 0b111 == 0b011
    gauge.press_key()
    assert lamps(gauge) & 0b111 == 0b001
    assert gauge.answer("log").startswith("paused, entries: 1\r\n")
    no_harm(gauge)


def test_entries_are_levels_at_their_times() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.machine.board.adjust("float", "level", "07")
    gauge.press_key()
    gauge.wait(7)
    gauge.machine.board.adjust("float", "level", "C8")
    gauge.wait(6)
    head, *rows = gauge.answer("log").splitlines()
    assert head == f"logging, entries: {len(rows)}"
    times = [int(row[6:8]) for row in rows]
    assert len(times) >= 3
    assert set(np.diff(times)) == {4}
    assert [row[9:] for row in rows] == ["7", "7", *["200"] * (len(rows) - 2)]
    assert gauge.answer("log 2").splitlines()[1:] == rows[-2:]
    no_harm(gauge)


def test_log_is_a_ring_of_64() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.press_key()
    gauge.wait(4 * 66)
    assert gauge.variable("COUNT") == 64
    assert gauge.variable("HEAD") in {4 * n for n in range(1, 6)}  # round once
    rows = gauge.answer("log 64").splitlines()[1:]
    seconds = [60 * int(row[3:5]) + int(row[6:8]) for row in rows]
    assert len(rows) == 64
    assert set(np.diff(seconds)) == {4}
    no_harm(gauge)


def test_log_outlives_power_if_the_switch_says_so() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.press_key()
    gauge.wait(9)
    before = gauge.answer("log").splitlines()[1:]
    assert len(before) >= 2
    gauge.machine.board.adjust("station", "flip", "7")
    gauge.machine.power()
    assert "station 42" in gauge.greeting()
    head, *after = gauge.answer("log").splitlines()
    assert head == f"paused, entries: {len(before)}"
    assert after == before
    no_harm(gauge)
    gauge.machine.board.adjust("station", "flip", "7")
    gauge.machine.power()
    gauge.greeting()
    assert gauge.answer("log") == "paused, entries: 0\r\n"
    no_harm(gauge)


def test_a_log_out_of_order_is_emptied() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.press_key()
    gauge.wait(9)
    gauge.machine.board.adjust("station", "flip", "7")
    gauge.machine.memory[gauge.machine.symbols["COUNT"]] = 60
    gauge.machine.power()
    gauge.greeting()
    assert gauge.answer("log") == "paused, entries: 0\r\n"


def sounder_edges(gauge: Gauge) -> NDArray[np.int64]:
    """T-states of the writes by which the sounder's bit changed."""
    trace = gauge.machine.trace.all()
    written = trace[(trace["type"] == Cycle.IOW) & (trace["address"] == 0x1010)]
    bit = written["data"] & 1
    edges: NDArray[np.int64] = written["t"][1:][bit[1:] != bit[:-1]].astype(np.int64)
    return edges


def test_alarm_sounds_at_its_level_and_not_below() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.set_level(199)
    gauge.ask("alarm 200")
    gauge.wait(3)
    assert len(sounder_edges(gauge)) == 0
    gauge.set_level(200)
    gauge.wait(2)
    assert gauge.answer("alarm") == "alarm from 200, sounding\r\n"
    halves = np.diff(sounder_edges(gauge))
    # 1000 Hz: half a period is 3 072 000 / 2000 T-states.
    assert np.median(halves) == CLOCK / 2000
    assert np.mean(halves == CLOCK / 2000) > 0.9
    gauge.answer("alarm off")
    gauge.wait(1)
    quiet_from = gauge.machine.t
    gauge.wait(2)
    assert not np.any(sounder_edges(gauge) > quiet_from)
    no_harm(gauge)


def test_beep_lasts_two_to_three_ticks() -> None:
    gauge = Gauge()
    gauge.greeting()
    gauge.ask("beep")
    gauge.wait(1)
    edges = sounder_edges(gauge)
    assert 1 / TICKS <= (edges[-1] - edges[0]) / CLOCK <= 3 / TICKS
    no_harm(gauge)


# --- the rest ---------------------------------------------------------------------


@pytest.mark.parametrize("vector", [0x08, 0x10, 0x18, 0x20, 0x24, 0x28, 0x30, 0x38])
def test_stray_restarts_begin_again(vector: int) -> None:
    gauge = Gauge()
    gauge.greeting()
    before = len(gauge.line.received)
    gauge.machine.registers.pc = vector
    assert gauge.listen(before).startswith(
        "\r\n? stray restart, starting again\r\n\r\nsaltmarsh tide gauge"
    )
    no_harm(gauge)


def test_the_same_dialogue_gives_the_same_trace() -> None:
    def trace() -> bytes:
        gauge = Gauge()
        gauge.greeting()
        gauge.ask("time")
        gauge.press_key()
        gauge.ask("log 3")
        return gauge.machine.trace.all().tobytes()

    assert trace() == trace()
