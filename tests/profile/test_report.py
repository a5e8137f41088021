"""The report: names, devices and shares, as text, page and JSON."""

from __future__ import annotations

import html.parser
import json
import xml.etree.ElementTree as ET

from emu85.machine import Machine
from emu85.profile.data import write_json
from emu85.profile.page import write_page
from emu85.profile.plot import write_plot
from emu85.profile.report import Report, report
from emu85.profile.text import write_text
from emu85.profile.watch import Watch
from tests.profile.watched import watched

PROGRAM = """
        ORG     0
        JMP     START
        ORG     40H
START:  LXI     SP,9000H
        CALL    SHOW_THEM_ALL_ON_THE_LAMPS_OF_THE_BOARD
        CALL    SLOW
        HLT
SHOW_THEM_ALL_ON_THE_LAMPS_OF_THE_BOARD:
        OUT     30H
        IN      0
        IN      77H
        RET
SLOW:   STA     0C000H
        RET
"""
CALLEE = "SHOW_THEM_ALL_ON_THE_LAMPS_OF_THE_BOARD"


def made(t_states: int = 1000) -> Report:
    machine, figures = watched(PROGRAM, t_states)
    return report(machine, figures, firmware="program.asm", about="a run", covered=(20, 25))


def test_rows_have_names_and_devices() -> None:
    found = made()
    names = [name for name, _ in found.routines]
    assert names[0] == "0000, from RESET"
    assert f"004A {CALLEE}" in names
    ports = {row.port: row for row in found.ports}
    assert [ports[port].device for port in (0x00, 0x30, 0x77)] == ["bank", "lamps", ""]
    assert (ports[0x30].reads, ports[0x30].writes, ports[0x30].t_states) == (0, 1, 4)
    assert {row.name: row.t_states for row in found.waits} == {"lamps": 1, "slow": 2}


def test_code_from_a_label_to_the_next() -> None:
    labels = {row.name: row for row in made().labels}
    # OUT 10 and a wait state, IN 10 twice, RET 10; STA 13 and two wait states, RET 10.
    assert labels[CALLEE].t_states == 10 + 1 + 20 + 10
    assert (labels["SLOW"].times, labels["SLOW"].t_states) == (1, 25)
    assert sum(row.t_states for row in labels.values()) + 3 == made().t_states  # RESET


def test_text_fits_a_terminal_and_adds_up() -> None:
    text = write_text(made())
    assert max(map(len, text.splitlines())) <= 80
    assert "Where the time goes: program.asm on rig" in text
    assert "  together" in text and "100.0%" in text
    assert "  004A SHOW_THEM_ALL_ON_THE…" in text
    assert "  77 -- nothing answers" in text
    assert "Executed: 20 of 25 bytes of instructions, 80.0 %" in text


def test_long_tables_end_with_what_is_left_of_them() -> None:
    lines = ["LXI SP,9000H", *(f"CALL R{n}" for n in range(40)), "HLT"]
    lines += [f"R{n}: RET" for n in range(40)]
    machine, figures = watched("\n".join(f" {line}" for line in lines))
    found = report(machine, figures)
    short, whole = write_text(found), write_text(found, None)
    assert "  21 more" in short and "more" not in whole
    assert all(f" R{n} " in whole for n in range(40))


def test_demo_boards_fit_a_terminal() -> None:
    machine = Machine.from_board("gantry")
    machine.load(machine.board.firmware or "")
    watch = Watch(machine)
    machine.run(t_states=1_000_000, wait=True)
    text = write_text(report(machine, watch.figures(), firmware="gantry.asm"))
    assert max(map(len, text.splitlines())) <= 80
    assert "Interrupts" in text and "bus cycles of another bus master" in text


def test_nothing_counted_is_no_mistake() -> None:
    machine, figures = watched("        HLT", t_states=0)
    found = report(machine, figures)
    assert "Where the time goes: memory as it was on rig" in write_text(found)
    assert json.loads(write_json(found))["T-states"] == 3
    write_page(found, [])


def test_json() -> None:
    data = json.loads(write_json(made()))
    assert data["format"] == 1 and data["complete"] is True
    assert sum(row["own T"] for row in data["routines"]) == data["T-states"]
    row = next(
        row for row in data["routines"] if row["name"] == "0057 SLOW" or "SLOW" in row["name"]
    )
    assert (row["calls"], row["own T"], row["least T"], row["most T"]) == (1, 25, 25, 25)
    reset = next(row for row in data["routines"] if row["begun by"] == "from RESET")
    assert reset["least T"] is None
    assert {port["port"] for port in data["ports"]} == {"00", "30", "77"}


def test_the_plot_tells_its_bars_apart_without_colour() -> None:
    plot = ET.fromstring(write_plot(made()))
    space = "{http://www.w3.org/2000/svg}"
    fills = {rect.get("fill") for rect in plot.iter(f"{space}rect")}
    assert fills == {"#111", "#fff", "url(#callees)"}
    texts = [text.text for text in plot.iter(f"{space}text")]
    assert "own" in texts and "0000, from RESET" in texts
    # The longest bar is that from RESET, which has all the rest as callees.
    bars = [float(r.get("width", "0")) for r in plot.iter(f"{space}rect")]
    assert max(bars) == 470.0


def test_the_page_needs_nothing_else_and_is_well_formed() -> None:
    from emu85.firmware import assemble
    from emu85.profile.lines import counted_rows

    machine, figures = watched(PROGRAM + "        MVI A,'<'\n")
    rows = assemble(PROGRAM + "        MVI A,'<'\n", "program.asm").rows
    page = write_page(report(machine, figures), list(counted_rows(rows, figures.execution)))
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "MVI A,&#x27;&lt;&#x27;" in page
    assert '<tr class="never"><td>never</td>' in page
    checker = _Nesting()
    checker.feed(page)
    assert checker.open == []


class _Nesting(html.parser.HTMLParser):
    """Whether every element that is opened is closed in its turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta",):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_a_call_that_is_not_over_has_no_length() -> None:
    """The routine in which the run ends: nothing is told of how long a call of it takes."""
    program = "        LXI     SP,9000H\n        CALL    ENDLESS\nENDLESS: JMP     ENDLESS\n"
    machine, figures = watched(program, 1000)
    page = write_page(report(machine, figures), [])
    table = page[page.index("<table") :]
    row = table[table.index("ENDLESS") :].partition("</tr>")[0]
    assert ">1<" in row  # called once
    assert ">0.0<" not in row


def test_code_where_the_firmware_has_none_is_no_labels() -> None:
    """Built in RAM at 8100, and run by a return into nowhere: FF there is RST 7."""
    program = """
        LXI     SP,9000H
        MVI     A,0C9H          ; RET
        STA     8101H           ; behind the 00 that RAM has
        STA     8111H
        XRA     A
        STA     8100H
        STA     8110H
        CALL    8100H           ; NOP 4, RET 10
        CALL    8110H
        CALL    THUNK
        LXI     B,0E000H
        PUSH    B
        RET                     ; E000: RST 7, 12
        ORG     38H
LAST:   HLT
        ORG     8110H
THUNK:
"""
    machine, figures = watched(program)
    found = report(machine, figures)
    rows = {row.text: (row.times, row.t_states) for row in found.labels}
    assert rows["8100-8101 work"] == (1, 14)
    assert rows["8110-8111 THUNK"] == (2, 28)
    assert rows["E000-E000 no chip"] == (1, 12)
    assert rows["0038 LAST"][0] == 1
    assert sum(t for _, t in rows.values()) + 3 == found.t_states  # RESET
    assert "  8100-8101 work " in write_text(found)
    assert "<td>E000-E000 no chip</td>" in write_page(found, [])
    told = {row["address"]: row["to"] for row in json.loads(write_json(found))["labels"]}
    assert (told["8100"], told["0038"]) == ("8101", None)
