"""The backplane's self-test and its words, run for real on its board."""

from __future__ import annotations

import csv
import re
from itertools import pairwise

import pytest

from emu85.board.shelf import folder
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from tests.firmware_examples.rack import Rack

NAMES = [
    *("ram", "battery", "usart", "timer", "pic", "ppi", "display", "combo"),
    *("pair", "uart", "panel", "input", "output", "dma", "control", "sentry"),
    *("slave", "tick", "sign", "scan", "kiln", "serial"),
]


@pytest.fixture(scope="module")
def rack() -> Rack:
    """A rack past its self-test, which tests may talk to one after another."""
    rack = Rack()
    rack.greeting()
    return rack


def verdicts(report: str) -> dict[str, str]:
    """Name to verdict of a self-test's report."""
    return dict(re.findall(r"^(\w+) +(ok|bad)\r$", report, re.MULTILINE))


def test_everything_is_well_and_the_board_finds_nothing() -> None:
    rack = Rack()
    report = rack.greeting()
    assert verdicts(report) == dict.fromkeys(NAMES, "ok")
    assert report.endswith("\r\n22 ok, 0 bad\r\n")
    assert list(rack.machine.findings) == []
    for end in (rack.line, rack.second):
        assert (end.framing_errors, end.parity_errors, end.breaks) == (0, 0, 0)
    rack.do("abort", "press")  # TRAP: again from the beginning
    again = rack.listen(len(report) + len("gantry> "))
    assert verdicts(again) == verdicts(report)
    assert list(rack.machine.findings) == []


@pytest.mark.parametrize(
    ("old", "new", "bad"),
    [
        ("at: 7000-77FF\n    battery: yes", "at: 7000-73FF", {"battery"}),
        ("rate: 1.536 MHz", "rate: 1.6 MHz", {"usart"}),
        ("timer.clk1: clock.out", "timer.clk1: low", {"timer", "pic"}),
        ("pic.ir0: timer.out2", "pic.ir0: low", {"pic"}),
        ("INTR: pic.int", "INTR: low", {"pic", "slave", "tick"}),
        ("ppi.pb0-pb3: small.c0-c3", "ppi.pb2: low", {"ppi"}),
        ("lcd.rs: ppi.pc0", "lcd.rs: low", {"display"}),
        ("lcd.d0-d7: ppi.pa0-pa7", "lcd.d1-d7: ppi.pa1-pa7", {"display"}),
        ("combo.pb0-pb7: combo.pa0-pa7", "combo.pb1-pb7: combo.pa1-pa7", {"combo", "scan"}),
        ("combo.timerin: clock.out", "combo.timerin: low", {"combo"}),
        ("RST 7.5: combo.timerout", "RST 7.5: low", {"combo"}),
        ("pair.pb0-pb7: pair.pa0-pa7", "pair.pb1-pb7: pair.pa1-pa7", {"pair"}),
        ("xin: 1.8432 MHz", "xin: 184.32 kHz", {"uart"}),
        ("low: 10\n    high: F0", "low: F8\n    high: FF", {"input"}),
        ("    wave: sine", "    convert: 10 ms\n    wave: sine", {"input", "dma"}),
        ("at: 4A, readable: yes", "at: 4A, readable: no", {"output", "dma"}),
        ("HOLD: dma.hrq", "HOLD: low", {"dma"}),
        ("dma.drq1: input.done", "dma.drq1: low", {"dma"}),
        ("at: 4E, readable: yes", "at: 4E, readable: no", {"control"}),
        ("RST 6.5: sentry.hit", "RST 6.5: low", {"sentry"}),
        ("pic.ir7: slave.int", "pic.ir7: low", {"slave"}),
        ("slave.ir1: kiln.done", "slave.ir1: low", {"slave"}),
        ("slave.ir2: usart.txrdy", "slave.ir2: low", {"slave"}),
        ("slave.ir2: usart.txrdy", "slave.ir2: tick.out", {"slave"}),
        ("pic.ir5: tick.out", "pic.ir5: low", {"tick"}),
        ("rate: 10 Hz", "rate: 10.25 Hz", {"tick"}),
        ("name: sign, at: 44-45", "name: sign, at: 64-65", {"sign"}),
        ("at: 46-47", "at: 46-47\n    convert: 10 ms", {"slave", "kiln"}),
        ("    file: gantry-kiln.csv", "    values: [F0]", {"kiln"}),
        ("ppi.pb7: SOD", "ppi.pb7: low", {"serial"}),
        ("format: 8N1\n\nfirmware", "format: 8N1\n  polarity: inverted\n\nfirmware", {"serial"}),
    ],
)
def test_a_fault_shows_in_its_line(old: str, new: str, bad: set[str]) -> None:
    found = verdicts(Rack((old, new)).greeting())
    assert sorted(found) == sorted(NAMES)
    assert {name for name, verdict in found.items() if verdict == "bad"} == bad


def test_shipped_dialogue_is_what_the_board_says() -> None:
    text = (folder("firmware_examples") / "gantry.md").read_text("utf-8")
    (dialogue,) = re.findall(r"```dialogue\n(.*?)```", text, re.DOTALL)
    typed = re.findall(r"^gantry> (.+)$", dialogue, re.MULTILINE)
    rack = Rack()
    said = rack.greeting() + "gantry> "
    said += "".join(rack.ask(keys) + "gantry> " for keys in typed)
    assert said.removeprefix("\r\n") == dialogue.removesuffix("\n").replace("\n", "\r\n") + " "
    assert list(rack.machine.findings) == []


@pytest.mark.parametrize("keys", ["Up", "ups", "lamps", "lamps 4", "lamps G0", "lamps 4/"])
def test_what_is_not_understood_is_said(rack: Rack, keys: str) -> None:
    assert rack.answer(keys) == "what? try help\r\n"


def test_an_empty_line_is_no_word(rack: Rack) -> None:
    assert rack.answer("") == ""


def test_lamps(rack: Rack) -> None:
    rack.answer("lamps a5")
    assert rack.state("lamps") == "●·●··●·●"


def test_show_fills_the_second_row(rack: Rack) -> None:
    rack.answer("show the tide is coming in")
    assert rack.state("lcd") == "[gantry ready    |the tide is comi]"
    rack.answer("show out")
    assert rack.state("lcd") == "[gantry ready    |out             ]"


def test_backspace_takes_a_character_back(rack: Rack) -> None:
    assert rack.ask("lampt\x08s 18") == "lampt\x08 \x08s 18\r\n"
    assert rack.state("lamps") == "···●●···"


def test_what_is_typed_during_an_answer_waits(rack: Rack) -> None:
    before = len(rack.line.received)
    rack.line.send(b"help\rswitches\r")
    rack.machine.run(seconds=1.5)
    assert bytes(rack.line.received[before:]).endswith(b"gantry> switches\r\n5A\r\ngantry> ")


def test_keys_of_the_panel_come_to_the_digits(rack: Rack) -> None:
    for key in "8085go7":
        rack.do("pad", "press", {"g": "go", "o": "back"}.get(key, key))
    assert rack.state("digits") == "[0857]"
    assert rack.state("panel").startswith("[8085    ] 0 in the FIFO")


def test_the_tick_counts_seconds() -> None:
    rack = Rack()
    rack.greeting()
    began = rack.machine.seconds
    while rack.machine.seconds < began + 2.5:
        rack.machine.run(seconds=0.1)
    assert rack.answer("up") == "2 s\r\n"
    address = rack.machine.symbols["TICK"]
    records = rack.machine.trace.all()
    ticks = records[(records["type"] == Cycle.OF) & (records["address"] == address)]
    # 1.536 MHz / 1536 / 10: 30720 T-states, and what the CPU takes to come out of HALT.
    assert abs(int(ticks["t"][-1]) - int(ticks["t"][-101]) - 100 * 30_720) < 30


def test_the_wave_is_moved_by_dma_cycles(rack: Rack) -> None:
    rack.answer("wave")
    records = rack.machine.trace.all()
    by_dma = records[(records["lines"] & Line.HLDA != 0) & (records["type"] == Cycle.MR)][-32:]
    wave = rack.machine.symbols["WAVE"]
    assert by_dma["address"].tolist() == list(range(wave, wave + 32))
    assert set((by_dma["t"][1:] - by_dma["t"][:-1]).tolist()) == {4}  # the 8257's four states
    assert by_dma["data"].tolist() == list(rack.machine.memory[wave : wave + 32])


def test_the_firmwares_stop_is_listed_while_it_watches(rack: Rack) -> None:
    rack.answer("watch")
    (stop,) = rack.machine.stops
    assert (stop.text, stop.owner) == ("on IOW at 4C", "firmware")
    sounded = rack.state("sounder")
    rack.answer("lamps 01")
    assert rack.state("sounder") != sounded
    assert rack.answer("rest") == "01 hits\r\n"
    assert not list(rack.machine.stops)


def test_a_knock_comes_by_the_call_of_the_slave_and_counts_on_the_lamps() -> None:
    rack = Rack()
    rack.greeting()
    before = rack.machine.t
    for _ in range(3):
        rack.do("knock", "press")
    assert rack.state("lamps") == "······●●"
    records = rack.machine.trace.all()
    called = records[(records["type"] == Cycle.INA) & (records["t"] >= before)]["data"].tolist()
    calls = [tuple(called[n : n + 3]) for n in range(0, len(called), 3)]
    assert calls.count((0xCD, 0x40, 0x01)) == 3  # the slave's IR0
    assert set(calls) == {(0xCD, 0x40, 0x01), (0xCD, 0x00, 0x01)}  # and ticks
    assert rack.state("slave").startswith("slave 7, ") and "ISR 00" in rack.state("slave")
    assert list(rack.machine.findings) == []


def test_the_scanned_digits_show_the_seconds() -> None:
    rack = Rack()
    rack.greeting()
    began = rack.machine.seconds
    for seconds in (1.5, 9.5, 10.5):
        while rack.machine.seconds < began + seconds:
            rack.machine.run(seconds=0.1)
        assert rack.state("scan") == f"[{int(seconds):04d}]"
    address = rack.machine.symbols["UPTIME"]
    rack.machine.memory[address : address + 4] = bytes([9, 9, 9, 9])
    rack.machine.run(seconds=1)
    assert rack.state("scan") == "[0000]"


def test_the_kiln_is_as_its_file_says() -> None:
    rack = Rack()
    rack.greeting()
    with (folder("boards") / "gantry-kiln.csv").open(newline="") as file:
        levels = [row["level"] for row in csv.DictReader(file)]
    for _ in range(4):
        second = int(rack.machine.seconds)
        assert rack.answer("kiln") == levels[second] + "\r\n"
        rack.machine.run(seconds=1)


def test_sign_fills_the_second_row(rack: Rack) -> None:
    rack.answer("sign high water at six in the evening")
    assert rack.state("sign") == "[on the bus          |high water at six in]"
    rack.answer("sign low")
    assert rack.state("sign") == "[on the bus          |low                 ]"


def test_a_line_goes_out_on_sod_bit_by_bit(rack: Rack) -> None:
    before = len(rack.second.received)
    began = rack.machine.t
    assert rack.answer("send the tide is out") == ""
    assert bytes(rack.second.received[before:]) == b"the tide is out\r\n"
    assert (rack.second.framing_errors, rack.second.breaks) == (0, 0)
    records = rack.machine.trace.all()
    high = records[records["t"] >= began]["lines"] & Line.SOD != 0
    edges = records[records["t"] >= began]["t"][1:][high[1:] != high[:-1]].tolist()
    lengths = [later - sooner for sooner, later in pairwise(edges)]
    bits = [length / 640 for length in lengths if length < 8 * 640]
    # 3.072 MHz / 4800; the line shows in the cycle after the SIM, and the gaps between
    # characters are no whole number of bits.
    assert sum(bit == round(bit) for bit in bits) >= 4 * len("the tide is out\r\n")


def test_what_is_typed_while_a_line_goes_out_is_not_lost(rack: Rack) -> None:
    before = len(rack.line.received)
    rack.line.send(b"send abcdefghijklmnopqrstuvwxyz\rswitches\rswitches\r")
    rack.machine.run(seconds=0.5)
    said = bytes(rack.line.received[before:])
    assert said.endswith(b"gantry> switches\r\n5A\r\ngantry> switches\r\n5A\r\ngantry> ")
    assert rack.second.received.endswith(b"abcdefghijklmnopqrstuvwxyz\r\n")


def test_lines_are_heard_whatever_the_tick_does_meanwhile(rack: Rack) -> None:
    text = "0123456789abcdefghijklmnopqrstuvwxyzUU"
    for delay in range(0, 10_000, 1700):  # of the 30720 T-states between two ticks
        before = len(rack.line.received)
        rack.line.send(b"hear\r")
        rack.machine.run(seconds=0.05)
        rack.machine.run(t_states=delay)
        rack.second.send(text.encode() + b"\r")
        assert rack.listen(before + 6) == text + "\r\n"


def test_a_key_ends_the_hearing(rack: Rack) -> None:
    before = len(rack.line.received)
    rack.line.send(b"hear\r")
    rack.machine.run(seconds=0.05)
    rack.second.send(b"half")
    rack.machine.run(seconds=0.05)
    rack.line.send(b"switches\r")
    rack.machine.run(seconds=0.1)
    said = bytes(rack.line.received[before:])
    assert said == b"hear\r\nhalf\r\ngantry> switches\r\n5A\r\ngantry> "
