"""The printed board, and where demo boards and firmware are found."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.board import describe, fit, load_board, read_board, shelf
from emu85.errors import UserError
from tests.board.fakes import MINIMAL, Bench


def rows(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


def test_saltmarsh_as_text() -> None:
    text = describe(fit(load_board("saltmarsh")))
    assert max(len(line) for line in text.splitlines()) <= 80
    lines = rows(text)
    for expected in (
        "crystal 6.144 MHz",
        "clock 3.072 MHz, a T-state is 325.521 ns",
        "floating bus reads FF",
        "0000-1FFF program, 2764 ROM of 8K",
        "2000-9FFF -- nothing answers",
        "A000-BFFF log, 6264 RAM of 8K, battery",
        "E000-FFFF ~ log, A000-BFFF again",
        "18-19 1 wait float, device converter",
        "14 read station, switches: bits 0-7",
        "RST 7.5 tick.out",
        "sounder.drive control.q0",
        "key a push button",
    ):
        assert expected in lines


def test_overlaps_and_odd_wiring_as_text() -> None:
    text = describe(
        Bench(
            MINIMAL
            + "  - ram: 300\n    name: odd\n    at: 0400\n    code: yes\n"
            + "wired:\n  - {device: key, name: stop}\n"
            + "lines:\n  HOLD: {any: [not stop.out, SOD]}\n"
            + "serial:\n  baud: 9600\n  polarity: inverted\n"
        ).board
    )
    lines = rows(text)
    assert "0400-052B !! program + odd: selected together" in lines
    assert "HOLD not stop.out or SOD" in lines
    assert "stop device key: a push button" in lines
    assert "serial line SID and SOD, 9600 baud, 8N1, mark is 0" in lines
    assert "a bit 208.333 T-states" in lines


def test_firmware_is_found_beside_the_board_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = tmp_path / "shipped"
    shipped.mkdir()
    (shipped / "a.hex").write_text(":00000001FF\n")
    monkeypatch.setattr(shelf, "folder", lambda name: shipped)
    file = str(tmp_path / "b.yaml")
    board = fit(read_board(MINIMAL + "firmware: a.hex\n", file))
    assert board.firmware == shipped / "a.hex"
    (tmp_path / "a.hex").write_text(":00000001FF\n")
    assert board.firmware == tmp_path / "a.hex"
    missing = fit(read_board(MINIMAL + "firmware: b.hex\n", file))
    with pytest.raises(UserError, match=r"b\.yaml:7:11: no firmware file 'b.hex'"):
        _ = missing.firmware
    assert "firmware b.hex (not found)" in rows(describe(missing))
    assert fit(read_board(MINIMAL, file)).firmware is None


def test_boards_are_found_by_name_and_by_path(tmp_path: Path) -> None:
    assert {"slate", "saltmarsh"} <= set(shelf.board_names())
    assert shelf.find_board("slate").name == "slate.yaml"
    own = tmp_path / "own.yaml"
    own.write_text(MINIMAL)
    assert load_board(own).name == "bare"
    for wrong in ("slaet", "", "\0", str(tmp_path)):
        with pytest.raises(UserError, match="no board"):
            load_board(wrong)
