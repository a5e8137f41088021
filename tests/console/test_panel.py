"""The lamp panel at a pseudo-terminal: what it shows, its keys, and the terminal afterwards."""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.console.screens import SIZES, Screened
from tests.timing.waves import HELD, HELD_PROGRAM

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

Begin = Callable[..., Screened]

CRASHING = """
import sys
import emu85.console.panel.application as application
from emu85.cli import main

drawn = application.picture
count = 0

def picture(*arguments):
    global count
    count += 1
    if count > 3:
        raise RuntimeError("the lamp has burnt out")
    return drawn(*arguments)

application.picture = picture
sys.exit(main(sys.argv[1:]))
"""
LEFT = (b"\x1b[?1049l", b"\x1b[?1000l", b"\x1b[?25h")
"""The terminal's own screen again, no mouse, a cursor (xterm control sequences)."""


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    made: list[Screened] = []

    def start(
        *options: str, columns: int = 80, rows: int = 24, program: str = "", term: str = "xterm"
    ) -> Screened:
        command = ["-c", program] if program else ["-m", "emu85"]
        arguments = [*command, "run", "--panel", *options]
        made.append(Screened(arguments, columns, rows, tmp_path / "state", term=term))
        return made[-1]

    yield start
    for one in made:
        one.close()


def lamps_of(line: str) -> str:
    """The lamps of a line, left to right."""
    return "".join(re.findall("[○◔◑◕●]", line))


def line_of(shown: str, label: str) -> str:
    """The line that begins with a label."""
    return next(line for line in shown.splitlines() if line.startswith(label))


def pins_of(shown: str) -> dict[str, str]:
    """Each pin's lamp: below its name, wherever in the name."""
    lines = shown.splitlines()
    pins = {}
    for at, line in enumerate(lines):
        if line.startswith(("from CPU", "to CPU")):
            for name in re.finditer(r"(?:RST |RESET )?[^ ]+", line[9:]):
                below = lines[at + 1][9 + name.start() : 9 + name.end()]
                pins[name[0]] = below.strip()
    return pins


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_a_held_board(begin: Begin, columns: int, rows: int) -> None:
    panel = begin("--board", "slate", columns=columns, rows=rows)
    panel.wait_for("HELD")
    panel.type("s")
    panel.wait_for("opcode fetch of C3 from 0000")
    panel.take()  # the rest of the frame
    shown = str(panel)
    assert lamps_of(line_of(shown, "bus")) == "○" * 16 + "●●○○○○●●"
    assert re.findall("[0-9A-F]", line_of(shown, "bus")) == [*"0000C3"]
    assert line_of(shown, "code").split()[1:4] == ["0000", "JMP", "START"]
    # An opcode fetch in T3: IO/M S1 S0 are 0 1 1, and RD is low.
    assert pins_of(shown) == {
        "IO/M": "○", "S1": "●", "S0": "●", "ALE": "○", "/RD": "○", "/WR": "●", "/INTA": "●",
        "HLDA": "○", "SOD": "○", "RESET OUT": "○", "READY": "●", "HOLD": "○", "TRAP": "○",
        "RST 7.5": "○", "6.5": "○", "5.5": "○", "INTR": "○", "SID": "○",
    }  # fmt: skip
    last = (
        r"3 OF .*0000 1100 0011 C3 .*JMP START" if columns == 140 else "3 OF    0000 C3 JMP START"
    )
    assert re.search(last, shown)
    assert "● high  ○ low, or floating; as in T3  /RD: active low" in shown
    lines = shown.splitlines()
    assert lines[-1].startswith("p pace") and lines[-1].endswith("q leave")
    assert len(lines) == rows and max(map(len, lines)) <= columns


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_a_running_board_glows(begin: Begin, columns: int, rows: int) -> None:
    panel = begin("--board", "saltmarsh", columns=columns, rows=rows)
    panel.wait_for("HELD")
    panel.type(" ")
    shown = panel.wait_for("tide>")
    assert "RUNNING" in shown and "space hold" in shown
    pins = pins_of(shown)
    # ALE is high for a small part of each cycle, RD low for a part of most; nothing is held.
    assert pins["ALE"] == "◔" and pins["/RD"] in "◑◕" and pins["HOLD"] == "○"
    assert pins["/INTA"] == "●"
    assert "serial: serial" in shown
    assert "○ never high  ◔ under 1/3  ◑ to 2/3  ◕ more  ● always  /RD: active low" in shown
    if columns == 140:
        below = line_of(shown, "% high").split()[2:]
        assert len(below) == 24 and all(0 <= int(figure) <= 100 for figure in below)


def test_wait_states_halts_and_holds_are_kept_up_with(begin: Begin, tmp_path: Path) -> None:
    (tmp_path / "held.yaml").write_text(HELD)
    (tmp_path / "held.asm").write_text(HELD_PROGRAM)
    panel = begin("--board", str(tmp_path / "held.yaml"))
    panel.wait_for("HELD")
    panel.type(" ")
    shown = panel.wait_until(
        lambda shown: re.search(r"RUNNING .* [2-9]\.\d+ s ", shown) is not None, "two seconds"
    )
    pins = pins_of(shown)
    assert pins["HOLD"] == pins["HLDA"] == "◔" and pins["READY"] == "◕"
    panel.type("q")
    panel.wait_for("emu85>")


def test_where_the_encoding_has_no_more_than_ascii(
    begin: Begin, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONIOENCODING", "ascii")
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type("s")
    shown = panel.wait_for("opcode fetch of C3 from 0000")
    assert line_of(shown, "bus").split()[-10:] == [*"##..C..##3"]
    assert shown.isascii()


def test_keys_step_hold_and_go_back(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type("i")
    panel.wait_for("T 13 ")
    panel.type("s")
    panel.wait_for("T 17 ")
    panel.type("b")
    panel.wait_for("4 T-states before the newest moment")
    panel.type("3 ")  # hold on memory writes, and run
    shown = panel.wait_for("Held on MW")
    assert "[3 MW]" in shown
    panel.type("3r")
    shown = panel.wait_for("RESET IN")
    assert "[3 MW]" not in shown


def test_paces(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("pace 4/s")
    panel.type("+++++")
    panel.wait_for("pace 60/s")
    panel.type("p")
    panel.wait_for("PACING")
    panel.wait_until(lambda shown: int(shown.split("T ")[1].split()[0]) > 60, "progress")
    panel.type("-")
    panel.wait_for("pace 30/s")
    assert "PACING" in str(panel)
    panel.type("\x03")
    panel.wait_for("HELD")


def test_an_interrupt_from_outside_holds(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    for _ in range(2):
        panel.type(" ")
        panel.wait_for("RUNNING")
        os.kill(panel.pid, signal.SIGINT)
        panel.wait_for("HELD")
    os.kill(panel.pid, signal.SIGINT)  # with nothing to be held it does nothing
    panel.type("s")
    panel.wait_for("OF ")
    assert panel.read() and "HELD" in str(panel)


def test_the_mouse_presses_what_is_written(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.wait_for("q leave")
    panel.click("step a machine cycle")
    panel.wait_for("T 7 ")
    panel.click("7 BI")
    panel.wait_for("[7 BI]")
    panel.click("leave")
    panel.wait_for("emu85>")


def test_keys_go_to_the_board(begin: Begin) -> None:
    panel = begin("--board", "saltmarsh", "--speed", "off")
    panel.type(" t")
    panel.wait_for("tide>")
    assert "Esc gives them back to the panel" in panel.wait_for("Keys go to serial.")
    panel.type("help\r")
    panel.wait_for("forget")
    panel.type("\x1b")
    panel.wait_until(lambda shown: "Keys go to" not in shown, "the end of typing")
    panel.type(" ")
    panel.wait_for("HELD")


def test_armed_stops_and_their_hits(begin: Begin, tmp_path: Path) -> None:
    (tmp_path / "arm.do").write_text("stop on IOW at 40\n")
    panel = begin("--board", "slate", "--do", str(tmp_path / "arm.do"))
    panel.wait_for("1 on IOW at 40 (0 hits)")
    panel.type(" ")
    panel.wait_for("1 on IOW at 40 (1 hit)")
    assert "Held by stop 1" in str(panel)


def test_other_sizes(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.resize(50, 10)
    panel.wait_for("needs 80 x 24, has 50 x 10")
    panel.resize(140, 45)
    panel.wait_until(lambda shown: "needs" not in shown and "q leave" in shown, "the whole")
    panel.resize(10, 2)
    panel.read(0.5)
    panel.resize(80, 24)
    panel.wait_until(lambda shown: "needs" not in shown and "q leave" in shown, "the whole")


def assert_restored(panel: Screened) -> None:
    assert panel.modes() == panel.before
    for sequence in LEFT:
        assert sequence in panel.raw
    assert panel.raw.rindex(b"\x1b[?1049l") > panel.raw.rindex(b"\x1b[?1049h")


def test_leaving_gives_the_terminal_back(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type(" q")
    panel.wait_for("emu85>")
    panel.type("regs\r")
    panel.wait_for("interrupts")
    panel.type("quit\r")
    assert panel.ended() == 0
    assert_restored(panel)


ENDING = (signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT, signal.SIGUSR1)
KILLING = (signal.SIGSEGV, signal.SIGABRT, signal.SIGKILL)


@pytest.mark.parametrize("number", ENDING)
def test_signals_give_the_terminal_back(begin: Begin, number: int) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type(" ")
    panel.wait_for("RUNNING")
    os.kill(panel.pid, number)
    assert panel.ended() == 128 + number
    assert_restored(panel)


def is_restored(panel: Screened, *sequences: bytes) -> bool:
    panel.take()
    return panel.modes() == panel.before and all(one in panel.raw for one in sequences)


def wait_until(happened: Callable[[], bool]) -> None:
    end = time.monotonic() + 20
    while not happened():
        assert time.monotonic() < end


def is_alive(pid: int) -> bool:
    return Path(f"/proc/{pid}").exists()


@pytest.mark.parametrize("number", KILLING)
def test_what_kills_it_gives_the_terminal_back(begin: Begin, number: int) -> None:
    """Nothing of the program runs any more then."""
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type(" ")
    panel.wait_for("RUNNING")
    assert panel.modes() != panel.before
    keepers = panel.children()
    os.kill(panel.pid, number)
    assert panel.ended() == -number
    wait_until(lambda: is_restored(panel, *LEFT))
    assert_restored(panel)
    wait_until(lambda: not any(map(is_alive, keepers)))


def test_who_watches_stands_apart_and_ends_with_the_program(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    (keeper,) = panel.children()
    assert os.getsid(keeper) != os.getsid(panel.pid)
    assert os.tcgetpgrp(panel.master) == os.getpgid(panel.pid)
    panel.type("q")
    panel.wait_for("emu85>")
    before = len(panel.raw)
    panel.type("quit\r")
    assert panel.ended() == 0
    assert not is_alive(keeper)
    assert b"\x1b[?1049l" not in panel.raw[before:]  # nothing more to be restored


def test_a_prompt_that_is_killed_gives_the_modes_back_and_leaves_the_screen(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    panel.type("q")
    panel.wait_for("emu85>")
    panel.wait_until(lambda _: panel.modes() != panel.before, "prompt")
    before = len(panel.raw)
    os.kill(panel.pid, signal.SIGKILL)
    assert panel.ended() == -signal.SIGKILL
    wait_until(lambda: is_restored(panel))
    panel.take()
    # To leave a screen that has been left puts the cursor elsewhere.
    assert b"\x1b[?1049l" not in panel.raw[before:]


def test_without_the_one_who_watches_it_goes_on(begin: Begin) -> None:
    panel = begin("--board", "slate")
    panel.wait_for("HELD")
    (keeper,) = panel.children()
    os.kill(keeper, signal.SIGKILL)
    panel.type("q")
    panel.wait_for("emu85>")
    panel.type("quit\r")
    assert panel.ended() == 0
    assert_restored(panel)


def test_a_crash_gives_the_terminal_back_and_loses_nothing(begin: Begin) -> None:
    panel = begin("--board", "slate", program=CRASHING)
    panel.type("s")
    shown = panel.wait_for("emu85>")
    assert "emu85 itself made a mistake (RuntimeError: the lamp has burnt out)" in " ".join(
        shown.split()
    )
    panel.type("regs\r")
    panel.wait_for("interrupts")
    panel.type("quit\r")
    assert panel.ended() == 0
    assert_restored(panel)


def test_a_terminal_whose_cursor_stays_where_it_is(begin: Begin) -> None:
    panel = begin("--board", "slate", term="dumb")
    assert panel.ended() == 2
    shown = "needs a terminal with a cursor that can be moved, and TERM is dumb"
    assert shown in " ".join(str(panel).split())
    assert b"\x1b" not in panel.raw


def test_without_a_terminal_it_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    from emu85.cli import main

    assert main(["run", "--board", "slate", "--panel"]) == 2
    assert "the lamp panel needs a terminal" in capsys.readouterr().err
