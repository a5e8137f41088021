"""Every screen of the console and of the commands, at two sizes of terminal.

What is looked at is the text that stands on the screen of a pseudo-terminal: that it says
what it should, and that no line has run over the edge, where a terminal would break it.
The lamp panel has a file of its own.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.console.screens import SIZES, Screened

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

_PROMPT = "emu85>"

WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("help", ("Moving the machine", "wave [COUNT]", "quit")),
    ("help stop", ("stop CONDITION",)),
    ("stop on IOW at 20", ("armed", "on IOW at 20", "0 hits")),
    ("run", ("Held by stop 1", "IOW  I/O write", "OUT 20H", "status   IO/M 1  S1 0  S0 1")),
    ("step", ("OF  opcode fetch",)),
    ("step instruction 2", ("next ", "PC ")),
    ("back", ("before the newest moment",)),
    ("forth", ("cycle ",)),
    ("who STEPS", ("MW ", "SHLD STEPS")),
    ("regs", ("interrupts", "BC ", "SP ")),
    ("bus", ("address", "strobes")),
    ("bus 12", ("T-state type  address", "OUT 20H")),
    ("code STEP 8", ("STEP:", "PUSH PSW", "LHLD STEPS")),
    ("mem 8000 20", ("8000  ",)),
    ("ports", ("lamps", "wink")),
    ("lines", ("RST 7.5", "HOLD 0")),
    ("board", ("breakwater", "0000-07FF", "program", "Ports")),
    ("stops", ("on IOW at 20", "1 hit")),
    ("find MW at 8000-8002", ("machine cycles, in",)),
    ("findings", ("No findings",)),
    ("symbols", ("STEP", "HORNS")),
    ("spent begin", ("Counting from",)),
    ("run for 5 ms", ("Held",)),
    ("spent", ("Routines", "RST 7.5")),
    ("spent interrupts", ("RST 7.5",)),
    ("wave 3", ("CLK", "AD0-AD7", "T1", "high", "floating")),
    ("card MOV M,A", ("MOV M,A", "7", "OF", "MW")),
    ("budget", ("program", "ns")),
    ("delay 1 ms", ("T-states",)),
    ("duration STEP", ("least", "most")),
    ("speed", ("speed off",)),
    ("joins", ("no serial",)),
    ("record", ("Nothing is recorded",)),
    ("stop on MW att 8000", ("did you mean 'at'",)),
)
"""Console lines, in order, and what must stand on the screen then."""

COMMANDS: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = (
    (("--help",), "", ("usage: emu85", "lesson")),
    (("boards",), "", ("slate", "breakwater")),
    (("board", "saltmarsh"), "", ("saltmarsh", "battery")),
    (("devices",), "", ("8255A", "sentry")),
    (("devices", "8251A"), "", ("Modelled", "txd")),
    (("isa", "DAD"), "", ("DAD", "BI")),
    (("card", "jnz 0123"), "", ("JNZ", "not taken")),
    (("wave", "--board", "breakwater", "--from", "INA"), "", ("INA", "INTA")),
    (("budget", "saltmarsh"), "", ("slack", "data sheet")),
    (("delay", "10 ms", "--crystal", "6.144 MHz"), "", ("T-states", "JNZ")),
    (("duration", "STEP", "--board", "breakwater"), "", ("least", "most")),
    (("profile", "--board", "breakwater", "--for", "20 ms"), "", ("Routines", "STEP")),
    (("burn-check", "--board", "breakwater", "--chip", "2716"), "", ("fit to burn", "CRC-32")),
    (("rehearse", "breakwater.rehearsal"), "", ("passed",)),
    (("lesson",), "", ("cycles", "stack")),
    (("lesson", "cycles", "--seed", "1"), "hint\rskip\rquit\r", ("Exercise 2", "The answer is")),
)
"""Commands, what is typed at them, and what must have stood on the screen."""


def written(screened: Screened) -> list[str]:
    """All lines since the beginning, those that have left the screen at its top as well."""
    gone = [
        "".join(line[at].data for at in range(screened.columns)).rstrip()
        for line in screened.screen.history.top
    ]
    return [*gone, *screened.lines()]


@pytest.fixture(params=SIZES, ids=lambda size: f"{size[0]}x{size[1]}", scope="module")
def console(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Screened, dict[str, list[str]]]]:
    """A held console in which all the lines have been entered, and what each has shown."""
    columns, rows = request.param
    folder = tmp_path_factory.mktemp("screens")
    command = ["-m", "emu85", "run", "--board", "breakwater", "--held", "--speed", "off"]
    screened = Screened(command, columns, rows, folder / "state", folder)
    shown = {}
    try:
        screened.wait_for(_PROMPT)
        for line, _ in WORDS:
            screened.type(f"{line}\r")
            shown[line] = answer(screened, line)
        screened.type("quit\r")
        assert screened.ended() == 0
        yield screened, shown
    finally:
        screened.close()


def answer(screened: Screened, line: str) -> list[str]:
    """The lines between a console line and the next prompt."""

    def is_done(_: str) -> bool:
        text = [one for one in written(screened) if one]
        places = [at for at, one in enumerate(text) if one == f"{_PROMPT} {line}"]
        prompts = [at for at, one in enumerate(text) if one == _PROMPT]
        return bool(places and prompts and prompts[-1] > places[-1])

    screened.wait_until(is_done, f"answer to {line!r}")
    text = written(screened)
    begin = max(at for at, one in enumerate(text) if one == f"{_PROMPT} {line}")
    end = max(at for at, one in enumerate(text) if one == _PROMPT)
    return text[begin + 1 : end]


@pytest.mark.parametrize(("line", "wanted"), WORDS, ids=[line for line, _ in WORDS])
def test_a_screen_of_the_console(
    console: tuple[Screened, dict[str, list[str]]], line: str, wanted: tuple[str, ...]
) -> None:
    screened, shown = console
    text = "\n".join(shown[line])
    for part in wanted:
        assert part in text, text
    assert not broken(screened.raw, screened.columns)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize(
    ("words", "typed", "wanted"), COMMANDS, ids=[" ".join(words) for words, _, _ in COMMANDS]
)
def test_a_screen_of_a_command(
    words: tuple[str, ...],
    typed: str,
    wanted: tuple[str, ...],
    columns: int,
    rows: int,
    tmp_path: Path,
) -> None:
    screened = Screened(["-m", "emu85", *words], columns, rows, tmp_path / "state", tmp_path)
    try:
        if typed:
            screened.wait_for("lesson>")
            screened.type(typed)
        screened.ended()
        text = "\n".join(written(screened))
        for part in wanted:
            assert part in text, text
        assert not broken(screened.raw, columns)
    finally:
        screened.close()


def broken(raw: bytes, columns: int) -> list[str]:
    """Plain lines that are longer than the terminal is wide."""
    text = re.sub(rb"\x1b(\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|[()][A-Z0-9]|[=>78])", b"", raw)
    lines = text.decode().replace("\r\n", "\n").split("\n")
    return [one for one in lines if "\r" not in one and len(one) > columns]
