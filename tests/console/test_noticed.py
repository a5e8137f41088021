"""What goes wrong on serial lines is told without being asked for, once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.console.bench import Bench
from tests.console.test_terminal import Terminal, begin
from tests.links.echo_board import ECHO, TALK, USART

UART = """
name: uart
crystal: 12.288 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - device: 16550
    name: usart
    at: 20-27
    xin: 1.8432 MHz
    terminal: {baud: 38400, format: 8N1}
"""
# Divisor 3 of 1.8432 MHz: 38400 baud; then it reads nothing.
UART_SET_UP = """
        MVI A, 83H
        OUT 23H
        MVI A, 3
        OUT 20H
        MVI A, 0
        OUT 21H
        MVI A, 3
        OUT 23H
"""
USART_SET_UP = """
        MVI A, 4EH
        OUT 21H
        MVI A, 37H
        OUT 21H
"""
ENDLESS = "HERE:   JMP HERE\n"
SENDING = """
NEXT:   MVI B, 0
WAIT:   DCR B
        JNZ WAIT
        MVI A, 55H
        OUT 20H
        JMP NEXT
"""


def bench(folder: Path, board: str, source: str) -> Bench:
    (folder / "board.yaml").write_text(board)
    return Bench(str(folder / "board.yaml"), source, folder)


def one_line(text: str) -> str:
    return " ".join(text.split())


def told(text: str) -> list[str]:
    """The findings that were told, without their T-states."""
    return re.findall(r"Finding at T-state \d+: (.*?)\. 'findings' counts them", one_line(text))


def test_findings_tell_of_a_detuned_sender(tmp_path: Path) -> None:
    source = """
        LXI SP, 8400H
        MVI A, 0C0H
        SIM
        MVI D, 60
NEXT:   MVI E, 10           ; 55H again and again: every bit differs from the last
        MVI A, 40H
BIT:    SIM
        XRI 80H
        MVI B, 97
WAIT:   DCR B
        JNZ WAIT
        DCR E
        JNZ BIT
        MVI B, 0
REST:   DCR B
        JNZ REST
        DCR D
        JNZ NEXT
        HLT
"""
    # 4 + 7 + 7 + 97 * 14 - 3 + 4 + 10 = 1387 T-states a bit.
    (tmp_path / "board.yaml").write_text(
        "name: b\ncrystal: 3.2 MHz\nmemory:\n  - {rom: 2K, at: 0000}\n  - {ram: 1K, at: 8000}\n"
        "serial: {baud: 1200, format: 8N1}\n"
    )
    bench = Bench(str(tmp_path / "board.yaml"), source, tmp_path)
    bench.do("run for 1500 ms")
    told = " ".join(bench.do("findings").split())
    assert "bits from the board more than 3% off, serial: once" in told
    assert f"bits from the board are {1387 * 1200 / 1.6e6 - 1:.1%} too long" in told
    assert f"{1.6e6 / 1387:.0f} baud instead of 1200" in told


def test_it_is_told_once_after_a_motion_and_again_after_power(tmp_path: Path) -> None:
    board = USART.replace("614.4 kHz", "650 kHz")  # 40625 baud for 38400
    rig = bench(tmp_path, board, TALK)
    first = rig.do("run for 20 ms")
    assert told(first)[0] == "bits from the board more than 3% off, usart"
    assert first.index("Finding") < first.index("Held")
    assert told(rig.do("run for 20 ms", "step 3")) == []
    for word in ("findings", "joins"):
        shown = one_line(rig.do(word))
        assert "bits from the board more than 3% off, usart: once, T" in shown
        assert f"are {1 - 38400 / 40625:.1%} too short: {6_144_000 / 40625:.1f} T-states" in shown
    assert told(rig.do("power", "run for 20 ms")) == told(first)


@pytest.mark.parametrize("rate", [626_000, 603_000])
def test_a_clock_within_three_per_cent_is_not_told_of(tmp_path: Path, rate: int) -> None:
    rig = bench(tmp_path, USART.replace("614.4 kHz", f"{rate} Hz"), TALK)
    assert abs(rate / 614_400 - 1) < 0.02
    assert told(rig.do("run for 50 ms")) == []
    assert rig.do("findings") == "No findings.\n"


@pytest.mark.parametrize(
    ("board", "source"),
    [(USART, USART_SET_UP + ENDLESS), (UART, UART_SET_UP + ENDLESS)],
)
def test_an_overrun_is_told(tmp_path: Path, board: str, source: str) -> None:
    rig = bench(tmp_path, board, source)
    rig.do("run for 1 ms", "type to usart ab")
    assert told(rig.do("run for 10 ms")) == [
        "overrun: characters to the board were not read in time, and one was lost, usart"
    ]
    assert "one was lost, usart: once, T" in one_line(rig.do("joins"))
    rig.do("type to usart cde", "run for 10 ms")
    assert "one was lost, usart: 4 times, T" in one_line(rig.do("findings"))


@pytest.mark.parametrize(
    ("board", "source"),
    [
        (USART, USART_SET_UP.replace("4EH", "7EH") + SENDING),
        (UART, UART_SET_UP.replace("3\n        OUT 23H", "1BH\n        OUT 23H") + SENDING),
    ],
)
def test_parity_errors_are_told_at_both_ends(tmp_path: Path, board: str, source: str) -> None:
    """The chip is set to even parity, the terminal to odd."""
    rig = bench(tmp_path, board.replace("8N1", "8O1", 1), source)
    rig.do("run for 1 ms", "type to usart U")
    shown = told(rig.do("run for 10 ms"))
    assert "parity error in a character to the board, usart" in shown
    assert "parity error in a character from the board, usart" in one_line(rig.do("findings"))


def test_framing_errors_are_told_at_both_ends(tmp_path: Path) -> None:
    """The chip's bits are 4/3 of the terminal's.

    The terminal looks for the stop bit after 9.5 of its bits, in the chip's bit 7, which
    of 3F is 0; the chip after 12.7 of them, in bit 2 of the character that follows.
    """
    source = UART_SET_UP.replace("MVI A, 3\n        OUT 20H", "MVI A, 4\n        OUT 20H")
    rig = bench(tmp_path, UART, source + SENDING.replace("55H", "3FH"))
    first = told(rig.do("run for 10 ms"))
    assert "framing error in a character from the board, usart" in first
    rig.do(r"type to usart \xFF\x00")
    assert told(rig.do("run for 10 ms")) == ["framing error in a character to the board, usart"]


def test_a_break_is_told_by_who_has_not_sent_it(tmp_path: Path) -> None:
    rig = bench(tmp_path, USART, USART_SET_UP.replace("37H", "3FH") + ENDLESS)
    rig.machine.board.serial_ends["usart"].send_break()
    assert told(rig.do("run for 10 ms")) == ["break from the board, usart"]
    assert "break from the board, usart: once, T" in one_line(rig.do("joins"))


def test_it_is_told_while_somebody_watches(terminals: list[Terminal], tmp_path: Path) -> None:
    (tmp_path / "board.yaml").write_text(USART.replace("614.4 kHz", "650 kHz"))
    terminal = begin(terminals, tmp_path, str(tmp_path / "board.yaml"), ECHO)
    terminal.wait_for("running")
    terminal.type("UUU")
    terminal.wait_for("bits from the board more than 3% off")
    terminal.wait_for("running")  # and it goes on
    terminal.type("\x03")
    terminal.wait_for("Held by Ctrl-C")
    assert terminal.text.count("Finding at T-state") <= 3
    terminal.type("quit\r")
    assert terminal.ended() == 0
