"""What each device does, seen from the bus, from its wires and by hand."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import floor
from pathlib import Path
from typing import Any, ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board import Device, Key, Read, Register, Site, registry
from emu85.board.chips.sounder import Sounder
from emu85.board.kinds import BYTE
from emu85.bus.lines import Line
from emu85.errors import UserError
from emu85.history.history import History
from emu85.machine import Machine
from tests.board.fakes import MINIMAL, Bench

SOUNDER = "wired:\n  - device: sounder\n"


def levels(bench: Bench, line: Line) -> list[tuple[int, int]]:
    return bench.host.of(line)


# --- latch ---------------------------------------------------------------------------


def latch(options: str = "", lines: str = "TRAP: latch.q0") -> Bench:
    return Bench(MINIMAL + f"ports:\n  - device: latch\n    at: 30\n{options}lines:\n  {lines}\n")


def test_latch_bits_are_on_pins() -> None:
    bench = latch(lines="TRAP: latch.q0\n  INTR: latch.q7")
    for t, value in ((10, 0x01), (20, 0x81), (30, 0x7E), (40, 0x7E)):
        bench.run_to(t)
        bench.port_out(0x30, value)
    assert levels(bench, Line.TRAP) == [(0, 0), (10, 1), (30, 0)]
    assert levels(bench, Line.INTR) == [(0, 0), (20, 1), (30, 0)]


def test_latch_reads_back_only_if_readable() -> None:
    plain, readable = latch(), latch("    readable: yes\n")
    for bench in (plain, readable):
        bench.port_out(0x30, 0x3C)
    assert plain.port_in(0x30) == 0xFF
    assert readable.port_in(0x30) == 0x3C == readable.board.peek(0x10030)


def test_latch_clear() -> None:
    plain, clear = latch("    readable: yes\n"), latch("    readable: yes\n    clear: yes\n")
    for bench in (plain, clear):
        bench.port_out(0x30, 0x3C)
        bench.board.reset()
    assert (plain.port_in(0x30), clear.port_in(0x30)) == (0x3C, 0x00)


# --- lamps, switches -------------------------------------------------------------------


def test_lamps() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - {device: lamps, name: high, at: 1, labels: [run, halt, load]}\n"
        + "  - {device: lamps, name: low, at: 2, lit by: 0}\n"
    )
    bench.port_out(1, 0b1000_0101)
    bench.port_out(2, 0b1000_0101)
    high, low = (bench.board.devices[name].state() for name in ("high", "low"))
    assert high == "●····●·●  run, load"
    assert low == "·●●●●·●·"
    bench.board.reset()
    assert bench.board.devices["high"].state() == "········"
    assert bench.board.devices["low"].state() == "●●●●●●●●"


def test_lamps_take_what_is_written_without_being_told() -> None:
    """A lamp port is written 1000 times; it reads as the floating bus all the while."""
    machine = Machine.from_text(
        "name: b\ncrystal: 2 MHz\npull-ups: 5A\n"
        "memory:\n  - {chip: 2716, name: rom, at: 0000-07FF}\n"
        "ports:\n  - {device: lamps, name: lamps, at: 11}\n"
    )
    machine.board.poke_all(list(enumerate([0x3C, 0xD3, 0x11, 0xC3, 0, 0])))  # INR A, OUT, JMP
    lamps, history = machine.board.devices["lamps"], History(machine, apart=0.0)
    told = []
    writers = machine.board.writers
    writers[0x10011] = lambda value: told.append(value)
    machine.run(t_states=24_000)  # 24 T-states a turn
    assert not told
    seen = lamps.state(), machine.t
    assert seen[0].startswith(f"{1000 & 0xFF:08b}".replace("0", "·").replace("1", "●"))
    machine.run(t_states=300)
    assert lamps.state() != seen[0]
    history.go_to(seen[1])
    assert (lamps.state(), machine.t) == seen
    machine.board.poke_all([(0, 0xDB), (1, 0x11), (2, 0x76)])  # IN 11H
    machine.registers.pc = 0
    machine.step_instruction(2)
    assert machine.registers.a == 0x5A
    assert "read where no chip answers at port 11" in [one.text for one in machine.findings]
    assert lamps.state() == seen[0]
    machine.reset()
    assert lamps.state() == "········"


def test_lamps_and_a_latch_at_one_port() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - {device: lamps, name: lamps, at: 30}\n"
        + "  - {device: latch, name: latch, at: 30}\n"
    )
    bench.port_out(0x30, 0x81)
    assert bench.port_in(0x30) == bench.board.description.pull_ups
    assert bench.board.devices["lamps"].state() == "●······●"
    assert bench.board.devices["latch"].state().startswith("81")


def test_labels_must_differ() -> None:
    with pytest.raises(UserError, match="two lamps have one label"):
        Bench(MINIMAL + "ports:\n  - {device: lamps, at: 1, labels: [run, Run]}\n")


def test_switches_are_published_and_set_by_hand() -> None:
    bench = Bench(MINIMAL + "ports:\n  - {device: switches, name: Bank, at: 14, value: 2A}\n")
    index = 0x10014
    assert index not in bench.board.readers and index not in bench.board.writers
    assert bench.port_in(0x14) == 0x2A
    bench.port_out(0x14, 0xFF)
    bench.board.adjust("bank", "value", "C3")
    assert bench.port_in(0x14) == 0xC3
    bench.board.adjust("bank", "flip", "7")
    assert bench.port_in(0x14) == 0x43
    bench.board.reset()
    bench.board.power()
    assert bench.port_in(0x14) == 0x43  # switches stay as the hand left them


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("bnak", "value", "1"), "did you mean 'bank'"),
        (("bank", "valeu", "1"), "did you mean 'value'"),
        (("bank", "value", "100"), "too large"),
        (("bank", "value", ""), "value is missing"),
        (("lamps", "value", "1"), "no device 'lamps' to work by hand"),
        (("key", "press", "5"), "takes no value"),
    ],
)
def test_hands_that_slip(words: tuple[str, str, str], message: str) -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - {device: switches, name: bank, at: 14}\n  - {device: lamps, at: 15}\n"
        + "wired:\n  - device: key\n"
    )
    with pytest.raises(UserError, match=message):
        bench.board.adjust(*words)


# --- tick --------------------------------------------------------------------------------


def ticking(rate: str, crystal: str = "6.144 MHz", pulse: str = "") -> Bench:
    text = MINIMAL.replace("4 MHz", crystal) + f"wired:\n  - device: tick\n    rate: {rate}\n"
    return Bench(text + pulse + "lines:\n  RST 7.5: tick.out\n")


@settings(max_examples=25, deadline=None)
@given(rate=st.integers(1, 100_000), crystal=st.sampled_from(["6.144 MHz", "3.579545 MHz"]))
def test_tick_never_drifts(rate: int, crystal: str) -> None:
    bench = ticking(f"{rate} Hz", crystal)
    period = Fraction(crystal.split()[0]) * 1_000_000 / 2 / rate
    bench.run_to(floor(50 * period) + 1)
    rises = [t for t, level in levels(bench, Line.RST75) if level]
    assert rises[:50] == [floor(n * period + Fraction(1, 2)) for n in range(1, len(rises) + 1)][:50]
    assert len(rises) >= 49


def test_tick_pulse_width_and_start() -> None:
    bench = ticking("1 kHz", pulse="    pulse: 100 us\n")  # 3072 and 307.2 T-states
    bench.run_to(7000)
    assert levels(bench, Line.RST75) == [(0, 0), (3072, 1), (3379, 0), (6144, 1), (6451, 0)]
    assert bench.board.devices["tick"].state() == "1 kHz, 2 pulses"
    bench.board.reset()
    bench.run_to(9216)
    assert levels(bench, Line.RST75)[-1] == (9216, 1)


def test_tick_starts_afresh_with_power() -> None:
    bench = ticking("1 kHz")
    bench.run_to(3100)
    bench.host.schedule.clear()
    bench.host.schedule.now = 0
    bench.host.driven.clear()
    bench.board.power()
    bench.run_to(3100)
    assert levels(bench, Line.RST75) == [(0, 0), (3072, 1)]


# --- key -----------------------------------------------------------------------------------


def test_key_press_lasts_the_hold_time() -> None:
    bench = Bench(MINIMAL + "wired:\n  - device: key\n    hold: 1 ms\nlines:\n  RST 5.5: key.out\n")
    bench.run_to(100)
    bench.board.adjust("key", "press")
    bench.run_to(1000)
    bench.board.adjust("key", "press")  # again before it is up: the time starts anew
    bench.run_to(10_000)
    assert levels(bench, Line.RST55) == [(0, 0), (100, 1), (3000, 0)]
    bench.board.adjust("key", "down")
    bench.run_to(50_000)
    assert bench.board.devices["key"].state() == "down"
    bench.board.adjust("key", "up")
    assert levels(bench, Line.RST55)[2:] == [(3000, 0), (10_000, 1), (50_000, 0)]


def test_wired_or_inversion_and_cpu_outputs() -> None:
    bench = Bench(
        MINIMAL
        + "wired:\n  - {device: key, name: a}\n  - {device: key, name: b, pressed: low}\n"
        + "lines:\n  INTR: {any: [a.out, not b.out]}\n  HOLD: not a.out\n"
        + "  RST 6.5: SOD\n  TRAP: HLDA\n"
    )
    assert levels(bench, Line.INTR) == [(0, 0)] and levels(bench, Line.HOLD) == [(0, 1)]
    for t, name, control in (
        (10, "a", "down"),
        (20, "b", "down"),
        (30, "a", "up"),
        (40, "b", "up"),
    ):
        bench.run_to(t)
        bench.board.adjust(name, control)
    assert levels(bench, Line.INTR) == [(0, 0), (10, 1), (40, 0)]
    assert levels(bench, Line.HOLD) == [(0, 1), (10, 0), (30, 1)]
    bench.board.sod(1)
    bench.board.hlda(1)
    assert levels(bench, Line.RST65) == [(0, 0), (40, 1)]
    assert levels(bench, Line.TRAP) == [(0, 0), (40, 1)]


# --- sounder ---------------------------------------------------------------------------------


def test_sounder_knows_its_pitch() -> None:
    bench = latch(lines="sounder.drive: latch.q0\nwired:\n  - device: sounder")
    sounder = bench.board.devices["sounder"]
    assert isinstance(sounder, Sounder)
    for half in range(6):  # 1000 T-states a half period at 2 MHz: 1 kHz
        bench.run_to(1000 * half)
        bench.port_out(0x30, (half + 1) % 2)
    assert sounder.pitch == 1000
    assert sounder.state() == "sounding 1 kHz, 3 edges"
    bench.run_to(4000 + 200_001)
    assert sounder.state() == "quiet, 3 edges"


# --- vector ----------------------------------------------------------------------------------


def jammer(options: str) -> Bench:
    return Bench(
        MINIMAL
        + f"wired:\n  - {{device: vector, {options}}}\n  - device: key\n"
        + "lines:\n  INTR: vector.intr\n  vector.request: key.out\n"
    )


@pytest.mark.parametrize(
    ("number", "opcode"),
    # RST n is 11nnn111: Intel 8080/8085 Assembly Language Programming Manual (from memory)
    [(0, 0xC7), (1, 0xCF), (2, 0xD7), (3, 0xDF), (4, 0xE7), (5, 0xEF), (6, 0xF7), (7, 0xFF)],
)
def test_vector_jams_a_restart(number: int, opcode: int) -> None:
    bench = jammer(f"rst: {number}")
    bench.run_to(5)
    bench.board.adjust("key", "down")
    assert bench.board.acknowledge() == opcode
    assert levels(bench, Line.INTR) == [(0, 0), (5, 1), (5, 0)]
    bench.run_to(9)
    bench.board.adjust("key", "up")
    assert levels(bench, Line.INTR)[-1] == (5, 0)  # only a rising edge asks
    assert bench.board.acknowledge() == opcode


def test_vector_jams_a_call() -> None:
    bench = jammer("call: 1234")
    for _ in range(2):
        assert [bench.board.acknowledge() for _ in range(3)] == [0xCD, 0x34, 0x12]
    bench.board.acknowledge()
    bench.board.reset()
    assert bench.board.acknowledge() == 0xCD


def test_power_is_no_request() -> None:
    bench = Bench(
        MINIMAL
        + "wired:\n  - {device: vector, rst: 1}\n  - {device: key, pressed: low}\n"
        + "lines:\n  INTR: vector.intr\n  vector.request: key.out\n"
    )
    assert {level for _, level in levels(bench, Line.INTR)[-1:]} == {0}
    assert bench.board.devices["vector"].state() == "CF, no request"


def test_nobody_answers_the_acknowledge() -> None:
    assert Bench(MINIMAL + "pull-ups: E7\n").board.acknowledge() == 0xE7


# --- converter -------------------------------------------------------------------------------


def converter(options: str) -> Bench:
    return Bench(
        MINIMAL
        + f"ports:\n  - {{device: converter, at: 18, convert: 50 us, {options}}}\n"
        + "lines:\n  RST 6.5: converter.done\n"
    )


def test_conversion() -> None:
    bench = converter("values: [7F]")
    bench.run_to(1000)
    assert (bench.port_in(0x18), bench.port_in(0x19)) == (0, 0)
    bench.port_out(0x18, 0xAA)
    bench.run_to(1099)  # 50 us are 100 T-states
    assert (bench.board.peek(0x10018), bench.port_in(0x19)) == (0, 0x80)
    bench.run_to(1100)
    assert bench.port_in(0x19) == 0
    assert bench.board.peek(0x10018) == 0x7F  # a look leaves done high
    assert levels(bench, Line.RST65) == [(0, 0), (1100, 1)]
    bench.run_to(1200)
    assert bench.port_in(0x18) == 0x7F
    assert levels(bench, Line.RST65)[-1] == (1200, 0)


def test_a_second_start_starts_again() -> None:
    bench = converter("values: [7F]")
    bench.port_out(0x18, 0)
    bench.run_to(60)
    bench.port_out(0x18, 0)
    bench.run_to(159)
    assert bench.port_in(0x19) == 0x80
    bench.run_to(160)
    assert bench.port_in(0x19) == 0


def converted(bench: Bench, t: int) -> int:
    bench.run_to(t)
    bench.port_out(0x18, 0)
    bench.run_to(t + 100)
    return bench.port_in(0x18)


def test_levels_move_with_board_time() -> None:
    # 1/3 ms are 666.67 T-states at 2 MHz
    bench = converter("values: [1, 2, 3], every: 333333 ns")
    every = Fraction(333_333, 500)
    for n in (0, 1, 2, 3, 4, 5, 900, 901):
        edge = floor(n * every + Fraction(1, 2))
        assert converted(bench, edge) == n % 3 + 1
        following = floor((n + 1) * every + Fraction(1, 2))
        assert converted(bench, following - 1) == n % 3 + 1


def test_levels_that_end_stay() -> None:
    bench = converter("values: [1, 2, 3], every: 1 ms, again: no")
    assert converted(bench, 2_000) == 2
    assert converted(bench, 1_000_000) == 3


def test_level_by_hand() -> None:
    bench = converter("values: [1]")
    bench.board.adjust("converter", "level", "99")
    assert converted(bench, 10) == 0x99
    bench.board.adjust("converter", "follow")
    assert converted(bench, 500) == 1


def test_levels_from_a_file(tmp_path: Path) -> None:
    text = (
        MINIMAL
        + "ports:\n  - {device: converter, at: 18, file: tide.csv, every: 1 ms, convert: 50 us}\n"
    )
    file = str(tmp_path / "b.yaml")
    (tmp_path / "tide.csv").write_text("hour,level\n0,1F\n1,2F\n")
    assert converted(Bench(text, file), 2000) == 0x2F
    (tmp_path / "tide.csv").write_text("time,level\n0,1F\n0.003,2F\n")
    assert converted(Bench(text, file), 5999) == 0x1F
    assert converted(Bench(text, file), 6000) == 0x2F
    assert converted(Bench(text, file), 8000) == 0x1F  # "every" after the last all start over
    (tmp_path / "tide.csv").write_text("0,1F\n1,2FF\n")
    with pytest.raises(UserError, match=r"tide.csv:2:3: 2FF is too large"):
        Bench(text, file)
    (tmp_path / "tide.csv").write_text("level\n")
    with pytest.raises(UserError, match=r"b.yaml:8:39: tide.csv has no levels"):
        Bench(text, file)
    (tmp_path / "tide.csv").unlink()
    with pytest.raises(
        UserError, match=r"b.yaml:8:39: the levels in tide.csv cannot be read: no such"
    ):
        Bench(text, file)


# --- plug-ins --------------------------------------------------------------------------------


class Adder(Device):
    """A device of another package: two registers written, their sum read."""

    kind = "adder"
    about = "adds two bytes"
    options = (Key("extra", BYTE, "added as well", 0, "00"),)
    registers = (
        Register("sum", "first byte, and the sum", Read.LIVE, written=True),
        Register("second", "second byte", Read.PUBLISHED, written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = {"carry": "of the sum"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._bytes = [0, 0]
        self._extra: int = options["extra"]

    def peek(self, register: int) -> int:
        return (sum(self._bytes) + self._extra) & 0xFF

    def read(self, register: int) -> int:
        return self.peek(register)

    def write(self, register: int, value: int) -> None:
        self._bytes[register] = value
        if register == 1:
            self.site.publish(1, value ^ 0xFF)
        self.site.drive("carry", int(sum(self._bytes) > 0xFF))


class Entry:
    def __init__(self, name: str, value: object) -> None:
        self.name = name
        self._value = value

    def load(self) -> object:
        if isinstance(self._value, Exception):
            raise self._value
        return self._value


@pytest.fixture
def plugged(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Any:
    entries = [Entry("extra", request.param)]
    monkeypatch.setattr(registry, "entry_points", lambda group: entries)
    registry.devices.cache_clear()
    yield
    registry.devices.cache_clear()


@pytest.mark.parametrize("plugged", [Adder], indirect=True)
def test_a_device_of_another_package(plugged: None) -> None:
    bench = Bench(
        MINIMAL + "ports:\n  - {device: adder, at: 60, extra: 3}\nlines:\n  TRAP: adder.carry\n"
    )
    bench.port_out(0x60, 0x90)
    bench.port_out(0x61, 0x80)
    assert bench.port_in(0x60) == (0x90 + 0x80 + 3) % 256
    assert bench.port_in(0x61) == 0x7F  # what it published, not what was written
    assert levels(bench, Line.TRAP) == [(0, 0), (0, 1)]


class Inverter(Device):
    """A gate: its output follows its input at once, the other way round."""

    kind = "inverter"
    outputs: ClassVar[Mapping[str, str]] = {"y": "not a"}
    inputs: ClassVar[Mapping[str, str]] = {"a": "input"}

    def sense(self, pin: str, level: int) -> None:
        self.site.drive("y", 1 - level)


INVERTERS = MINIMAL + "wired:\n  - {device: inverter, name: a}\n  - {device: inverter, name: b}\n"


@pytest.mark.parametrize("plugged", [Inverter], indirect=True)
def test_a_loop_of_gates(plugged: None) -> None:
    Bench(INVERTERS + "lines:\n  a.a: b.y\n  b.a: a.y\n")  # a latch: it comes to rest
    with pytest.raises(UserError, match=r"bench.yaml:11:3: this wire closes a loop"):
        Bench(INVERTERS + "lines:\n  a.a: a.y\n")


class Impostor(Device):
    """Takes a word that is in use."""

    kind = "latch"


@pytest.mark.parametrize(
    "plugged",
    [ImportError("gone"), object(), Impostor],
    indirect=True,
    ids=["broken", "none", "word"],
)
def test_plug_ins_that_cannot_be_used(plugged: None) -> None:
    with pytest.raises(UserError, match="the device plug-in 'extra'"):
        registry.devices()
