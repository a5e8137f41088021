"""``emu85 wave``."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from emu85.bus.pins import PINS
from emu85.cli import main
from emu85.wording import counted
from tests.pump import BOARD as BOARD_WITH_DMA

BOARD = """
name: jetty
crystal: 5 MHz
memory:
  - {rom: 2K, name: program, at: 0000-07FF}
  - {ram: 256, name: work, at: C000-C0FF, waits: 1}
"""
# RESET takes 3 T-states, MVI 7, STA 13 and a wait state; HLT's fetch begins at 24.
PROGRAM = """
        ORG     0
        MVI     A,5AH
        STA     PLACE
        HLT
        ORG     0C000H
PLACE:  DS      1
"""


@pytest.fixture
def words(tmp_path: Path) -> list[str]:
    """The command, with a board and firmware that halts for good."""
    board, source = tmp_path / "jetty.yaml", tmp_path / "jetty.asm"
    board.write_text(BOARD)
    source.write_text(PROGRAM)
    return ["wave", str(source), "--board", str(board)]


def shown(capsys: pytest.CaptureFixture[str], words: list[str]) -> list[str]:
    assert main(words) == 0
    return capsys.readouterr().out.splitlines()


def refused(capsys: pytest.CaptureFixture[str], words: list[str]) -> str:
    assert main(words) == 2
    out, told = capsys.readouterr()
    assert not out
    return told


def test_from_a_condition_with_chosen_pins(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--from", "MW at PLACE", "--cycles", "1", "--pins", "ready, wr,ad0-ad7"]
    assert shown(capsys, [*words, *options])[:-1] == [
        "T 20      |MW C000 5A",
        "          T1    T2    TW    T3",
        "AD0-AD7   X00===X5A===============",
        "WR        ------\\______________/--",
        "READY     ------\\_____/-----------",
    ]


def test_from_the_reset_at_power_on(
    words: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """RESET OUT is high for the three T-states of the reset, as the machine begins."""
    options = ["--from", "RESET", "--cycles", "2", "--pins", "RESET OUT,RD"]
    lines = shown(capsys, [*words, *options])
    assert lines[0].split() == ["T", "0", "|RESET", "|OF", "0000", "3E", "MVI", "A,5AH"]
    assert lines[1].split() == [*["TRESET"] * 3, "T1", "T2", "T3", "T4"]
    assert lines[3] == "RESET OUT " + "-" * 24 + "\\" + "_" * 23
    file = tmp_path / "a.vcd"
    (told,) = shown(capsys, [*words, "--from", "RESET", "--cycles", "2", "--vcd", str(file)])
    assert told == f"{file}: 2 machine cycles, 7 T-states from T-state 0"


def test_a_condition_is_blamed_where_it_was_typed(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    told = refused(capsys, [*words, "--from", "OF att 9999"])
    assert "column 4: 'att'" in told and "\n    OF att 9999\n       ^\n" in told


def test_how_long(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """17 T-states are 6.8 us at 2.5 MHz: MVI's two machine cycles and three of STA's."""
    begun = "OF 0000|MR 0001|OF 0002|MR 0003|MR 0004"
    for options in (["--cycles", "5"], ["--for", "17"], ["--for", "6.8 us"]):
        text = "\n".join(shown(capsys, [*words, *options, "--width", "140"]))
        assert "|".join(re.findall(r"\|(.{7})", text)) == begun


def test_after_a_time(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """7 T-states after RESET MVI has ended."""
    assert shown(capsys, [*words, "--after", "7", "--cycles", "1"])[0].startswith("T 10      |OF")


def test_a_halt_for_good_ends_it(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*words, "--from", "OF at 5", "--cycles", "100"]) == 0
    out, told = capsys.readouterr()
    assert told == "Halted after 2 of 100 machine cycles\n"
    assert out.splitlines()[1].split()[:6] == ["T1", "T2", "T3", "T4", "THALT", "THALT"]


@pytest.mark.parametrize("length", [["--cycles", "1"], ["--for", "1 s"]])
def test_within_a_halt(
    words: list[str], length: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """It begins where it was asked to, and not where the halt did."""
    lines = shown(capsys, [*words, "--after", "2 ms", *length])
    assert lines[0] == "T 5003    |HALT"
    assert set(lines[1].split()) >= {"THALT", "~"}


def test_cycles_over_more_than_a_second_of_board_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tick of 4 Hz wakes the CPU from its halt: ten times take 2.5 s.

    A time is HLT, the halt, the bus idle cycle and the two writes of RST 7.5, EI, RET and
    JMP back of three machine cycles each: 12.
    """
    board, source = tmp_path / "slowly.yaml", tmp_path / "slowly.asm"
    board.write_text(
        f"{BOARD}wired:\n  - {{device: tick, name: beat, rate: 4 Hz}}\n"
        "lines: {RST 7.5: beat.out}\n"
    )
    source.write_text(
        " ORG 0\n LXI SP,0C080H\n MVI A,0BH\n SIM\n EI\nREST: HLT\n JMP REST\n ORG 3CH\n EI\n RET\n"
    )
    words = ["wave", str(source), "--board", str(board), "--from", "OF at REST", "--cycles", "120"]
    text = "\n".join(shown(capsys, [*words, "--width", "1000"]))
    assert text.count("|HALT") == 10
    assert text.count("|BI") == 10


TICKING = f"""{BOARD}wired:
  - {{device: tick, name: beat, rate: 1 kHz}}
lines: {{RST 7.5: beat.out}}
"""


@pytest.mark.parametrize(
    ("before", "over"),
    [("DI", True), ("MVI A,0FH\n SIM\n EI", True), ("MVI A,0BH\n SIM\n EI", False)],
)
def test_a_dump_ends_with_a_halt_that_a_tick_cannot_end(
    before: str, over: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tick of 1 kHz whose interrupt is disabled, masked, or let in: 2500 T-states a time."""
    board, source, vcd = (tmp_path / name for name in ("b.yaml", "f.asm", "w.vcd"))
    board.write_text(TICKING)
    source.write_text(
        f" ORG 0\n LXI SP,0C080H\n {before}\nREST: HLT\n JMP REST\n ORG 3CH\n EI\n RET\n"
    )
    words = ["wave", str(source), "--board", str(board), "--cycles", "50", "--vcd", str(vcd)]
    assert main(words) == 0
    out, told = capsys.readouterr()
    assert ("Halted after" in told) is over
    assert int(re.findall(r"(\d+) T-states", out)[0]) < (3000 if over else 20_000)


@pytest.mark.parametrize("cycles", range(1, 9))
def test_a_block_by_dma_is_cut_where_it_was_asked_to(
    cycles: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """OUT's write, a fetch, a hold, and then five cycles of 4 clocks by the controller."""
    board, source, vcd = (tmp_path / name for name in ("b.yaml", "f.asm", "w.vcd"))
    board.write_text(BOARD_WITH_DMA)
    put = "".join(f" MVI A,{value}\n OUT {port}\n" for value, port in FIVE)
    source.write_text(f" ORG 0\n{put}ON: JMP ON\n")
    words = ["wave", str(source), "--board", str(board), "--from", "IOW at 20"]
    words += ["--cycles", str(cycles), "--vcd", str(vcd)]
    assert main(words) == 0
    assert capsys.readouterr().out.startswith(f"{vcd}: {counted(cycles, 'machine cycle')}, ")
    types = [line.split()[0] for line in vcd.read_text().splitlines() if line.endswith(CYCLE)]
    assert len(types) == cycles + 1  # the first is that nothing is known yet
    assert main([*words[:-2], "--width", "1000"]) == 0
    assert capsys.readouterr().out.splitlines()[0].count("|") == cycles


FIVE = [
    (0x00, 0x40),
    (0x81, 0x40),
    (0x04, 0x41),
    (0x40, 0x41),
    (0x41, 0x48),
    (0x01, 0x20),
]
"""Address 8100, terminal count 4 from peripheral to memory, channel 0 with TC stop; request."""
CYCLE = " " + chr(33 + len(PINS))
"""The identifier code of the type of cycle, after those of the pins."""


def test_files(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    svg, vcd = tmp_path / "a.svg", tmp_path / "a.vcd"
    more = ["--from", "MW", "--cycles", "1", "--svg", str(svg), "--vcd", str(vcd)]
    assert shown(capsys, [*words, *more]) == [
        f"{vcd}: 1 machine cycle, 4 T-states from T-state 20",
        f"{svg}: jetty, from T-state 20",
    ]
    about = [one.text or "" for one in ET.parse(svg).getroot().iter()]
    assert any("8085AH at a crystal of 5 MHz: a T-state is 400.0 ns" in one for one in about)
    assert "#8000000\n" in vcd.read_text()  # 20 T-states of 400 ns
    chosen = ["--part", "8085AH-2", "--crystal", "8 MHz"]
    shown(capsys, [*words, "--from", "MW", "--svg", str(svg), *chosen])
    assert "8085AH-2 at a crystal of 8 MHz: a T-state is 250.0 ns" in svg.read_text()


@pytest.mark.parametrize("form", ["svg", "vcd"])
def test_a_file_that_is_printed(
    words: list[str],
    form: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    printed = "\n".join(shown(capsys, [*words, f"--{form}", "-"])) + "\n"
    assert sorted(tmp_path.iterdir()) == before
    shown(capsys, [*words, f"--{form}", f"a.{form}"])
    assert printed == Path(f"a.{form}").read_text()


def test_two_files_in_one_print_are_refused(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert "would be written over" in refused(capsys, [*words, "--svg", "-", "--vcd", "-"])


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--pins", "ALE,REDY"], "no pin 'REDY'; expected one of CLK, ALE"),
        (["--pins", "ALE,REDY"], "did you mean 'READY'?"),
        (["--part", "8085AH-3"], "8085AH-3"),
        (["--cycles", "1001"], "1001 machine cycles are too many to be drawn"),
        (["--cycles", "0"], "--cycles with 1 to"),
        (["--cycles", "-1"], "-1 is out of range; expected --cycles with 1 to"),
        (["--cycles=-x"], "'-x' is not a number"),
        (["--from", "IOW"], "no machine cycle met 'IOW' within 60 s of board time"),
        (["--after", "soon"], "'soon' is not a time"),
        (["--width", "7"], "--width with 30 to 1000 columns"),
    ],
)
def test_what_is_refused(
    words: list[str], options: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told in refused(capsys, [*words, *options])


def test_a_crystal_that_the_part_is_not_made_for_is_told(
    capsys: pytest.CaptureFixture[str], words: list[str], tmp_path: Path
) -> None:
    svg = tmp_path / "fast.svg"
    assert main([*words, "--crystal", "50 MHz", "--svg", str(svg)]) == 0
    assert "an 8085AH is made for T-states of 320 to 2000 ns: at 40.0 ns" in capsys.readouterr().err
    assert "BEWARE" in svg.read_text()
    assert main([*words, "--crystal", "6.25 MHz", "--svg", str(svg)]) == 0
    assert capsys.readouterr().err == ""
    assert "BEWARE" not in svg.read_text()
