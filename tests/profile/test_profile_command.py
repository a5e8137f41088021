"""``emu85 profile`` from its command line to its files and its exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from emu85.cli import main

WINK = """
        ORG     0
        LXI     SP,8800H
SHOW:   OUT     40H
        CALL    DELAY
        JMP     SHOW
DELAY:  MVI     B,200           ; 7 + 14 x 200 - 3 T-states, and 10 for RET
MORE:   DCR     B
        JNZ     MORE
        RET
        END
"""
REHEARSAL = """rehearsal: it winks
board: slate
firmware: wink.asm
run for 5 ms
see no findings
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "wink.asm").write_text(WINK)
    (tmp_path / "wink.rehearsal").write_text(REHEARSAL)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def profile(*words: str) -> int:
    return main(["profile", "--board", "slate", *words])


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert profile(*words) == 2
    return capsys.readouterr().err


def test_text(capsys: pytest.CaptureFixture[str]) -> None:
    assert profile("wink.asm", "--for", "10 ms") == 0
    out = capsys.readouterr().out
    assert "Where the time goes: wink.asm on slate" in out
    assert "000B DELAY" in out
    assert max(map(len, out.splitlines())) <= 80


def test_files(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--html", "wink.html", "--listing", "wink.lst", "--json", "wink.json")
    assert profile("wink.asm", "--for", "20000", *words) == 0
    data = json.loads((folder / "wink.json").read_text())
    delay = next(row for row in data["routines"] if row["name"].endswith(" DELAY"))
    assert delay["least T"] == delay["most T"] == 7 + 14 * 200 - 3 + 10
    listing = (folder / "wink.lst").read_text()
    assert "of 18 bytes of instructions executed" in listing
    assert "<svg" in (folder / "wink.html").read_text()
    assert sorted(p.name for p in folder.iterdir()) == [
        *("wink.asm", "wink.html", "wink.json", "wink.lst", "wink.rehearsal")
    ]


def test_the_listing_printed_stands_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert profile("wink.asm", "--for", "3000", "--listing", "-") == 0
    assert capsys.readouterr().out.startswith("Listing of wink.asm, with what was executed\n")


def test_a_rehearsal_moves_the_board(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert profile("wink.asm", "--rehearsal", "wink.rehearsal") == 0
    assert "the rehearsal wink.rehearsal, 0.005 s of board time" in capsys.readouterr().out
    (folder / "wink.rehearsal").write_text(REHEARSAL.replace("see no findings", "see A 99"))
    assert profile("wink.asm", "--rehearsal", "wink.rehearsal") == 1
    assert "not as expected: wink.rehearsal:5: see A 99" in capsys.readouterr().out


def test_hex_with_symbols(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assemble", "wink.asm", "--symbols", "wink.sym"]) == 0
    assert profile("wink.hex", "--symbols", "wink.sym", "--for", "10 ms") == 0
    assert "000B DELAY" in capsys.readouterr().out
    assert profile("wink.hex", "--for", "10 ms", "--listing", "-") == 0
    assert "CALL 000BH" in capsys.readouterr().out


def test_mistakes(capsys: pytest.CaptureFixture[str]) -> None:
    assert "out of range" in refused(capsys, "wink.asm", "--for", "0")
    assert "is not a time" in refused(capsys, "wink.asm", "--for", "a while")
    both = refused(capsys, "wink.asm", "--for", "1 s", "--rehearsal", "wink.rehearsal")
    assert "a rehearsal says itself how long it runs" in both
    assert "the page would be written over the firmware" in refused(
        capsys, "wink.asm", "--html", "wink.asm"
    )
    assert "over the page" in refused(capsys, "wink.asm", "--html", "a", "--json", "a")
    assert "no such file" in refused(capsys, "gone.asm")
