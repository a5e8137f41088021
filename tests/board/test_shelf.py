"""Files named on the command line: at a path, or among those that come with the program."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.board import shelf


def test_a_bare_name_is_found_among_the_demo_firmware(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    found = shelf.named_file("quay-gantry.asm")
    assert found.is_file() and found.parent == shelf.folder(shelf.FIRMWARE)


def test_a_file_at_the_path_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "quay-gantry.asm").write_text("NOP\n", encoding="ascii")
    assert shelf.named_file("quay-gantry.asm") == Path("quay-gantry.asm")


@pytest.mark.parametrize("written", ["nowhere.asm", "folder/quay-gantry.asm", ".", "a\0b.asm"])
def test_what_is_in_neither_place_stays_as_written(
    written: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert shelf.named_file(written) == Path(written)
