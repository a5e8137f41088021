"""The rehearsals that come with the demo firmware pass, and find what is changed in it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from emu85.board.shelf import FIRMWARE, folder
from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.firmware import assemble
from emu85.machine import Machine
from emu85.rehearsal import SUFFIX, rehearse
from emu85.rehearsal.report import report

SHIPPED = sorted(folder(FIRMWARE).glob(f"*{SUFFIX}"))


def test_every_demo_has_one() -> None:
    names = {path.stem for path in SHIPPED}
    assert names >= {"slate", "saltmarsh", "gantry"}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: str(path.stem))
def test_it_passes(path: Path) -> None:
    verdict = rehearse(path)
    assert verdict.passed, report(verdict)


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("slate", "INX     D               ;  6  OF6            fills", "NOP", "500000 T"),
        ("slate", "PASSES  EQU     20829", "PASSES  EQU     20828", "499976 T"),
        ("saltmarsh", "Press the key", "Press a key", '"Press the key'),
        ("gantry", "what? try help", "what? say help", "say help"),
    ],
)
def test_a_change_of_the_firmware_is_found(name: str, old: str, new: str, told: str) -> None:
    source = folder(FIRMWARE) / f"{name}.asm"
    text = source.read_text("utf-8")
    assert text.count(old) >= 1
    changed = assemble(text.replace(old, new), str(source)).image
    verdict = rehearse(source.with_suffix(SUFFIX), firmware=changed)
    assert not verdict.passed
    assert told in report(verdict)


def test_the_console_finds_them_by_their_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    out = io.StringIO()
    session = Session(Machine.from_board("slate"), PlainScreen(out))
    session.execute("rehearse slate.rehearsal")
    assert "slate.rehearsal  passed" in out.getvalue()
