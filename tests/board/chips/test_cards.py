"""Simple cards: digits, keypad, D/A and A/D converters, and sound that is saved."""

from __future__ import annotations

import math
import wave
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.board.chips.dac import Dac
from emu85.board.chips.digits import LatchedDigits, PortDigits
from emu85.board.segments import CHARACTERS, text_of
from emu85.bus.lines import Line
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench

SEVEN = {"0": 0x3F, "1": 0x06, "2": 0x5B, "3": 0x4F, "4": 0x66, "5": 0x6D, "6": 0x7D, "7": 0x07,
         "8": 0x7F, "9": 0x6F, "A": 0x77, "b": 0x7C, "C": 0x39, "d": 0x5E, "E": 0x79,
         "F": 0x71}  # fmt: skip
"""Common codes, segment a on bit 0 (common practice, no published source)."""


# --- digits --------------------------------------------------------------------------------


def test_segments_as_text() -> None:
    assert {value: text for text, value in SEVEN.items()}.items() <= CHARACTERS.items()
    assert text_of([0x80 | SEVEN["3"], SEVEN["1"], 0, 0x40, 0x15]) == "3.1 -*"


def test_latched_digits() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - {device: digits, name: plain, at: 40-47, digits: 3}\n"
        + "  - {device: digits, name: odd, at: 48-4F, digits: 2, segments: .gfedcba, lit by: 0}\n"
    )
    for n, character in enumerate("24b"):
        bench.port_out(0x40 + n, SEVEN[character])
    bench.port_out(0x44, 0xFF)  # there is no fifth digit
    plain, odd = bench.board.devices["plain"], bench.board.devices["odd"]
    assert isinstance(plain, LatchedDigits) and plain.text == "24b"
    assert odd.state() == "[8.8.]"  # a cleared latch lights everything
    # Bit 7 is a and bit 0 the point, and a 0 lights: "1." is segments b, c and the point.
    bench.port_out(0x49, 0xFF & ~(0x40 | 0x20 | 0x01))
    assert odd.state() == "[8.1.]"
    bench.board.reset()
    assert plain.state() == "[   ]"


SCANNED = (
    MINIMAL
    + """\
ports:
  - {device: latch, name: seg, at: 40}
  - {device: latch, name: dig, at: 41}
wired:
  - {device: port-digits, name: shown, digits: 4, lasts: 20 ms}
lines:
  shown.a: seg.q0
  shown.b: seg.q1
  shown.c: seg.q2
  shown.d: seg.q3
  shown.e: seg.q4
  shown.f: seg.q5
  shown.g: seg.q6
  shown.dp: seg.q7
  shown.dig0-dig3: dig.q0-q3
"""
)


def scan(bench: Bench, start: int, text: str, *, times: int = 20) -> int:
    """Scan digits at 1 ms each, segments before the digit line; the time afterwards."""
    t = start
    for n in range(times * len(text)):
        bench.run_to(t)
        place = n % len(text)
        bench.port_out(0x40, SEVEN[text[place]])  # for 20 us the old digit has the new segments
        bench.run_to(t + 40)
        bench.port_out(0x41, 0xFF & ~(1 << place))
        t += 2000
    bench.run_to(t)
    return t


def test_scanned_digits_are_legible() -> None:
    bench = Bench(SCANNED)
    shown = bench.board.devices["shown"]
    assert isinstance(shown, PortDigits)
    bench.port_out(0x41, 0xFF)
    assert shown.text == "    "
    end = scan(bench, 100, "12A4")
    assert shown.text == "12A4"
    end = scan(bench, end, "890b")
    assert shown.state() == "[890b]"
    bench.port_out(0x41, 0xFF)
    bench.run_to(end + 20_000)
    assert shown.text == "890b"  # 10 of 20 ms ago it was there
    bench.run_to(end + 40_001)
    assert shown.text == "    "


def test_a_digit_that_is_not_scanned_any_more_stands_still() -> None:
    bench = Bench(SCANNED)
    scan(bench, 100, "12A4")
    bench.run_to(400_000)
    assert bench.board.devices["shown"].state() == "[   4]"


# --- keypad --------------------------------------------------------------------------------


PAD = (
    MINIMAL
    + """\
ports:
  - {device: latch, name: rows, at: 40}
wired:
  - {device: keypad, name: pad, keys: [1 2 3 A, 4 5 6 B, _ 0 _ ok], hold: 1 ms}
lines:
  pad.r0-r2: rows.q0-q2
  RST 5.5: pad.c1
  RST 6.5: pad.c3
"""
)


def test_keypad_rows_and_columns() -> None:
    bench = Bench(PAD)
    bench.port_out(0x40, 0x00)  # all rows low
    assert bench.host.of(Line.RST55) == [(0, 1)]
    bench.run_to(10)
    bench.board.adjust("pad", "down", "5")
    bench.run_to(20)
    bench.port_out(0x40, 0b101)
    bench.run_to(30)
    bench.port_out(0x40, 0b110)  # another row
    bench.run_to(40)
    bench.board.adjust("pad", "press", "OK")
    bench.port_out(0x40, 0b001)
    bench.run_to(3000)
    bench.board.adjust("pad", "up", "5")
    assert bench.host.of(Line.RST55) == [(0, 1), (10, 0), (30, 1), (40, 0), (3000, 1)]
    # 1 ms is 2000 T-states.
    assert bench.host.of(Line.RST65) == [(0, 1), (40, 0), (2040, 1)]


def test_keypad_mistakes() -> None:
    bench = Bench(PAD)
    with pytest.raises(UserError, match=r"no key 'okay'.*did you mean 'ok'"):
        bench.board.adjust("pad", "press", "okay")
    with pytest.raises(UserError, match="two keys are called 'a'"):
        Bench(MINIMAL + "wired:\n  - {device: keypad, keys: [1 a, A 2]}\n")
    with pytest.raises(UserError, match="row of the keypad is too long"):
        Bench(MINIMAL + "wired:\n  - {device: keypad, keys: [1 2 3 4 5 6 7 8 9]}\n")


# --- D/A converter and sound -----------------------------------------------------------------


def read_wav(path: Path) -> tuple[int, NDArray[np.int16]]:
    with wave.open(str(path), "rb") as sound:
        assert (sound.getnchannels(), sound.getsampwidth()) == (1, 2)
        data = sound.readframes(sound.getnframes())
        return sound.getframerate(), np.frombuffer(data, dtype="<i2")


def test_dac_output_as_a_table(tmp_path: Path) -> None:
    bench = Bench(MINIMAL + "ports:\n  - {device: dac, at: 40, full: 2550}\n")
    for t, value in ((100, 0x10), (300, 0x10), (2_000_000, 0xFF)):
        bench.run_to(t)
        bench.port_out(0x40, value)
    dac = bench.board.devices["dac"]
    assert isinstance(dac, Dac) and dac.volts * 1000 == 2550
    assert dac.state() == "FF, 2.550 V, 2 changes"
    bench.board.adjust("dac", "save", str(tmp_path / "out.csv"))
    assert (tmp_path / "out.csv").read_text().splitlines() == [
        "seconds,T-state,volts,level",
        "0.000000000,0,0.0000,00",
        "0.000050000,100,0.1600,10",
        "1.000000000,2000000,2.5500,FF",
    ]
    with pytest.raises(UserError, match=r"expected a file name in \.wav or \.csv"):
        bench.board.adjust("dac", "save", str(tmp_path / "out.mp3"))
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


def test_dac_output_as_sound(tmp_path: Path) -> None:
    """A staircase of levels 1 ms each comes back at its moments, scaled to 16 bits."""
    bench = Bench(MINIMAL + "ports:\n  - {device: dac, at: 40}\n")
    levels = [0x00, 0x40, 0x80, 0xC0, 0xFF]
    for n, value in enumerate(levels):
        bench.run_to(2000 * n)
        bench.port_out(0x40, value)
    bench.run_to(10_000)
    bench.board.adjust("dac", "save", str(tmp_path / "out.wav"))
    rate, samples = read_wav(tmp_path / "out.wav")
    assert (rate, len(samples)) == (44100, 220)  # 5 ms
    middles = [int(samples[round((n + 0.5) * 44.1)]) for n in range(5)]
    assert middles == [round((value / 127.5 - 1) * 32767) for value in levels]


def test_sounder_saved(tmp_path: Path) -> None:
    """Half a second of a 1 kHz square wave at 2 MHz: its strongest frequency is 1 kHz."""
    board = "ports:\n  - {device: latch, at: 30}\nwired:\n  - device: sounder\n"
    bench = Bench(MINIMAL + board + "lines:\n  sounder.drive: latch.q0\n")
    for half in range(1000):
        bench.run_to(1000 * half)
        bench.port_out(0x30, (half + 1) % 2)
    path = tmp_path / "tone.wav"
    bench.board.adjust("sounder", "save", str(path))
    rate, samples = read_wav(path)
    assert abs(len(samples) / rate - 0.4995) < 0.001
    spectrum = np.abs(np.fft.rfft(samples - samples.mean()))
    strongest = np.fft.rfftfreq(len(samples), 1 / rate)[int(spectrum.argmax())]
    assert abs(strongest - 1000) <= 2
    bench.board.power()
    bench.board.adjust("sounder", "forget")
    with pytest.raises(UserError, match="nothing has come out yet"):
        bench.board.adjust("sounder", "save", str(path))
    assert read_wav(path)[0] == 44100  # the old file is untouched


# --- waves for the A/D converter ---------------------------------------------------------------


def converted(bench: Bench, t: int) -> int:
    bench.run_to(t)
    bench.port_out(0x18, 0)
    bench.run_to(t + 100)
    return bench.port_in(0x18)


@pytest.mark.parametrize("shape", ["sine", "triangle", "square", "ramp"])
def test_waves(shape: str) -> None:
    """Each wave at many moments of a period of 10 ms, 20000 T-states, from 20 to E0."""
    bench = Bench(
        MINIMAL
        + f"ports:\n  - {{device: converter, at: 18, convert: 50 us, wave: {shape}, "
        + "period: 10 ms, low: 20, high: E0}\n"
    )
    for n in range(40):
        t = 1370 * n
        x = t / 20_000 % 1
        y = {
            "sine": (1 + math.sin(2 * math.pi * x)) / 2,
            "triangle": 1 - abs(2 * x - 1),
            "square": float(x < 0.5),
            "ramp": x,
        }[shape]
        assert abs(converted(bench, t) - (0x20 + 0xC0 * y)) <= 0.5 + 1e-6


def test_wave_mistakes() -> None:
    for options, message in (
        ("wave: sine, values: [1]", "needs its levels once"),
        ("wave: saw", "unknown word 'saw'"),
        ("wave: ramp, low: 80, high: 7F", "low is above its high"),
    ):
        with pytest.raises(UserError, match=message):
            Bench(MINIMAL + f"ports:\n  - {{device: converter, at: 18, {options}}}\n")
