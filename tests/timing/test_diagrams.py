"""Diagrams read back: what is drawn says what stood on the pins."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.bus.pins import PINS, SAMPLED, UNDEFINED, WIDTHS, Level
from emu85.machine import Machine
from emu85.timing.diagram_svg import svg_diagram
from emu85.timing.diagram_text import BLOCKS, PLAIN, Marks, key_line, text_diagram
from emu85.timing.stretch import Gap, Stretch, drawn_pins, stretch_of
from tests.timing.waves import light, placer, slow

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def machine() -> Machine:
    return light()


def stretch(machine: Machine, kind: Cycle, before: int = 1, count: int = 4) -> Stretch:
    """Some machine cycles with the first of a kind among them."""
    kinds = machine.trace.all()["type"].tolist()
    return stretch_of(machine, max(kinds.index(kind) - before, 0), count, lambda _: "CODE")


def read_back(lines: Sequence[str], marks: Marks) -> list[dict[str, list[Level]]]:
    """Levels by half T-state from the characters, a mapping of pins for each band."""
    bands: list[dict[str, list[Level]]] = []
    for band in "\n".join(lines).split("\n\n"):
        rows = {line[:10].strip(): line[10:] for line in band.split("\n")[2:]}
        bands.append({pin: _levels(pin, row, marks) for pin, row in rows.items()})
    return bands


def _levels(pin: str, row: str, marks: Marks) -> list[Level]:
    levels: list[Level] = []
    for at in range(0, len(row), 3):
        piece = row[at : at + 3]
        body = piece[-1]
        if body == marks.floating:
            levels.append(None)
        elif body == marks.undefined:
            levels.append(UNDEFINED)
        elif WIDTHS.get(pin, 1) == 1:
            levels.append({marks.high: 1, marks.low: 0}[body])
        else:
            levels.append(levels[-1] if body == marks.bus else int(piece[1:], 16))
    return levels


@pytest.mark.parametrize("marks", [PLAIN, BLOCKS], ids=["plain", "blocks"])
@pytest.mark.parametrize("width", [80, 140])
@pytest.mark.parametrize("kind", [Cycle.MW, Cycle.IOW, Cycle.BI, Cycle.OF])
def test_text_says_what_stood_on_the_pins(
    machine: Machine, kind: Cycle, width: int, marks: Marks
) -> None:
    drawn = stretch(machine, kind, before=0, count=7)
    lines = list(text_diagram(drawn, width=width, pins=PINS, marks=marks))
    assert max(map(len, lines)) <= width
    bands = read_back(lines, marks)
    joined = {pin: [level for band in bands for level in band[pin]] for pin in PINS}
    states = [one for one in drawn.states() if one.name != "THALT"]
    for pin in PINS:
        wanted = [half[pin] for state in states for half in (state.first, state.second)]
        assert joined[pin][: len(wanted)] == wanted, pin


def test_every_t_state_has_its_name_and_every_cycle_its_own(machine: Machine) -> None:
    drawn = stretch(machine, Cycle.IOW, before=3, count=6)
    text = "\n".join(text_diagram(drawn, width=80))
    names = [state.name for state in drawn.states()]
    heads = [line for line in text.splitlines() if line.startswith(" ") and "T1" in line]
    assert " ".join(heads).split() == names
    for name in drawn.names:
        assert f"|{name}"[:18] in text


def test_a_band_begins_with_a_machine_cycle_where_it_can(machine: Machine) -> None:
    lines = list(text_diagram(stretch(machine, Cycle.IOW, 5, 9), width=80))
    for place, line in enumerate(lines):
        if place == 0 or not lines[place - 1]:
            assert line[10] == "|"


def test_long_halts_are_cut(machine: Machine) -> None:
    drawn = stretch(machine, Cycle.HALT, before=0, count=1)
    states = drawn.shown()
    (gap,) = (one for one in states if isinstance(one, Gap))
    assert gap.count is not None
    assert gap.count + len(states) - 1 == len(drawn.states())
    assert f"~ {gap.count}" in "\n".join(text_diagram(drawn))


def test_a_halt_that_goes_on_says_so() -> None:
    machine = light()
    while Cycle(int(machine.trace[-1]["type"])) is not Cycle.HALT:
        machine.step()
    drawn = stretch_of(machine, len(machine.trace) - 2, 2, lambda _: "CODE")
    lines = list(text_diagram(drawn))
    assert lines[1].endswith("~ on") and "~~~" in lines[2]
    assert "… on …" in svg_diagram(drawn, placer("8085AH"), title="a halt")
    over = stretch_of(machine, len(machine.trace) - 2, 1, lambda _: "CODE")
    assert "~" not in "\n".join(text_diagram(over))


def test_a_count_of_many_digits_stands_apart(machine: Machine) -> None:
    drawn = stretch(machine, Cycle.HALT, before=0, count=1)
    late = replace(drawn, end_t=drawn.end_t + 12_345_678, after=None)
    head = list(text_diagram(late))[1]
    assert re.search(r"~ \d{8}  THALT THALT$", head)


def test_a_drawing_of_an_hour_of_halt(machine: Machine) -> None:
    """That its T-states are not all made is seen by how long the test takes."""
    drawn = stretch(machine, Cycle.HALT, before=1, count=1)
    hour = replace(drawn, end_t=drawn.end_t + 3600 * 3_072_000, after=None)
    hour.records["type"][0] = Cycle.HALT
    shown = hour.shown()
    (gap,) = (one for one in shown if isinstance(one, Gap))
    assert gap.count == hour.end_t - int(hour.records["t"][0]) - 4
    text = svg_diagram(hour, placer("8085AH"), title="an hour")
    assert f"… {gap.count} …" in text


def test_the_same_byte_is_drawn_for_the_address_and_for_the_data() -> None:
    """MOV M,A of 40 at 8040: the low address byte and the byte written are alike."""
    machine = slow(0)
    machine.board.poke_all(list(enumerate([0x21, 0x40, 0x80, 0x3E, 0x40, 0x77])))
    machine.reset()
    machine.step(7)
    record = machine.trace[-1]
    assert (record["type"], record["address"], record["data"]) == (Cycle.MW, 0x8040, 0x40)
    drawn = stretch_of(machine, len(machine.trace) - 1, 1, str)
    root = ET.fromstring(svg_diagram(drawn, placer("8085AH"), title="t", pins=["AD0-AD7"]))
    texts = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    assert texts.count("40") == 2
    assert list(text_diagram(drawn, pins=["AD0-AD7"]))[2] == "AD0-AD7   X40===X40========="


TAKING = {
    0x00: [0x31, 0x00, 0x88, 0x3E, 0x08, 0x30, 0xFB, 0xC3, 0x07, 0x00],  # LXI SP; SIM; EI; JMP $
    **{at: [0xFB, 0xC9] for at in (0x24, 0x2C, 0x34, 0x3C)},  # EI; RET
}
INPUTS = {0x24: "TRAP", 0x2C: "RST 5.5", 0x34: "RST 6.5", 0x3C: "RST 7.5"}
"""User's Manual, October 1979, section 2.3 (values from memory)."""


@pytest.mark.parametrize(("vector", "name"), INPUTS.items())
def test_an_acknowledge_has_the_name_of_its_input_and_no_byte(vector: int, name: str) -> None:
    machine, at = taking(name)
    machine.step(2)
    # Before the fetch at the vector it shows in the PC alone.
    assert stretch_of(machine, at, 1, str).names == [f"BI 0007 {name}"]
    machine.step(10)
    assert machine.trace[at + 3]["address"] == vector
    drawn = stretch_of(machine, at, 1, str)
    assert drawn.names == [f"BI 0007 {name}"]
    assert f"|BI 0007 {name}" in next(text_diagram(drawn))
    assert f"BI 0007 {name}" in svg_diagram(drawn, placer("8085AH"), title="t")


def test_an_acknowledge_in_the_place_of_another_inputs_first_instruction() -> None:
    machine, at = taking("RST 5.5")
    machine.drive(Line.TRAP, 1)
    machine.step(10)
    names = stretch_of(machine, at, 7, lambda _: "").names
    assert names[0] == "BI 0007 RST 5.5" and names[3] == "BI 002C TRAP"
    assert names[6].startswith("OF 0024")


def test_a_bus_idle_cycle_of_an_instruction_has_no_byte() -> None:
    machine = slow(0)
    kinds = machine.trace.all()["type"].tolist()
    at = kinds.index(Cycle.BI)  # DAD B at 0006
    assert stretch_of(machine, at, 2, str).names == ["BI 0007", "BI 0007"]


def taking(name: str) -> tuple[Machine, int]:
    """A machine in the acknowledge of an input, and the place of that in the trace."""
    machine = slow(0)
    machine.board.poke_all([(a + i, b) for a, bs in TAKING.items() for i, b in enumerate(bs)])
    machine.reset()
    machine.step(30)
    machine.drive(SAMPLED[name], 1)
    while machine.trace[-1]["type"] != Cycle.BI:
        machine.step(1)
    return machine, len(machine.trace) - 1


def test_names_do_not_run_into_each_other() -> None:
    machine = slow(0)
    machine.reset()
    drawn = stretch_of(machine, len(machine.trace) - 1, 1, str)
    assert [one.name for one in drawn.states()] == ["TRESET"] * 3
    assert list(text_diagram(drawn, pins=["CLK"]))[1].split() == ["TRESET"] * 3
    long = replace(stretch_of(machine, 0, 1, str), names=["a name that is far too long"])
    root = ET.fromstring(svg_diagram(long, placer("8085AH"), title="t"))
    assert "a name that is far too…" in ["".join(x.itertext()) for x in root.iter(f"{SVG}text")]


def test_drawings_are_cut_where_a_machine_cycle_begins(machine: Machine) -> None:
    drawn = stretch_of(machine, 1, 30, str)
    root = ET.fromstring(svg_diagram(drawn, placer("8085AH"), title="t"))
    for band in root.findall(f"{SVG}g"):
        texts = ["".join(one.itertext()) for one in band.iter(f"{SVG}text")]
        assert next(one for one in texts if one.startswith("T") and one[1:].isdecimal()) == "T1"


def test_pins_at_rest_are_left_out_unless_they_are_chosen(machine: Machine) -> None:
    states = stretch(machine, Cycle.MW).states()
    assert "SID" not in drawn_pins(states) and "TRAP" not in drawn_pins(states)
    assert drawn_pins(states)[:11] == list(PINS[:11])
    assert drawn_pins(states, ["TRAP", "RD"]) == ["RD", "TRAP"]
    assert "HLDA" in drawn_pins(stretch(machine, Cycle.HOLD).states())


def test_plain_is_ascii(machine: Machine) -> None:
    assert "\n".join([*text_diagram(stretch(machine, Cycle.HOLD)), key_line()]).isascii()


def test_a_wait_state_is_drawn() -> None:
    machine = slow(2)
    lines = list(text_diagram(stretch_of(machine, 1, 1, str), pins=["READY", "RD"]))
    assert lines[1].split() == ["T1", "T2", "TW", "TW", "T3", "T4"]
    assert lines[2:] == [
        "RD        ------\\____________________/--------",
        "READY     ------\\___________/-----------------",
    ]


def test_svg_is_complete_and_names_what_it_shows(machine: Machine) -> None:
    drawn = stretch(machine, Cycle.IOW, before=2, count=4)
    text = svg_diagram(drawn, placer("8085AH"), title="a < b & c", about="about & so on")
    root = ET.fromstring(text)
    texts = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    assert root.find(f"{SVG}title").text == "a < b & c"  # type: ignore[union-attr]
    assert "about & so on" in texts
    for pin in drawn_pins(drawn.states()):
        assert pin in texts
    for name in drawn.names:
        assert name in texts
    assert [one for one in texts if one in ("T1", "T2", "T3", "T4")] == [
        state.name for state in drawn.states()
    ]
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "href" not in text


def test_svg_has_the_bytes_of_the_bus(machine: Machine) -> None:
    drawn = stretch(machine, Cycle.MW, before=0, count=1)
    root = ET.fromstring(svg_diagram(drawn, placer("8085AH"), title="t", pins=["AD0-AD7"]))
    texts = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    record = drawn.records[0]
    address, data = int(record["address"]) & 0xFF, int(record["data"])
    if address != data:
        assert texts.index(f"{address:02X}") < texts.index(f"{data:02X}")


def test_svg_of_a_hold_hatches_and_dashes(machine: Machine) -> None:
    text = svg_diagram(stretch(machine, Cycle.HOLD), placer("8085AH"), title="hold")
    root = ET.fromstring(text)
    kinds = {one.get("class") for one in root.iter()}
    assert {"float", "undefined", "wave"} <= kinds


def test_long_drawings_are_cut_into_bands(machine: Machine) -> None:
    drawn = stretch_of(machine, 1, 40, str)
    root = ET.fromstring(svg_diagram(drawn, placer("8085AH"), title="t"))
    bands = root.findall(f"{SVG}g")
    assert len(bands) > 3
    assert float(root.get("width", "0")) < 1300


def test_a_bus_masters_cycle_is_no_machine_cycle_of_the_cpu() -> None:
    """Told as DMA, in hold states, with the CPU's own pins let go of."""
    machine = Machine.from_board("gantry")
    machine.load(machine.board.firmware or "")
    machine.stops.add("when HLDA high")
    machine.run(seconds=2)
    machine.step(3)
    kinds = machine.trace.all()["type"].tolist()
    drawn = stretch_of(machine, kinds.index(Cycle.HOLD), 3, str)
    assert [name.split()[0] for name in drawn.names] == ["HOLD", "DMA", "DMA"]
    states = drawn.states()
    assert {state.name for state in states} == {"THOLD"}
    assert {state.first["IO/M"] for state in states} == {None}
    reads = [state for state in states if state.record == 1]
    assert [state.first["RD"] for state in reads] == [1, 0, 0, 1]
