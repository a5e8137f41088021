from __future__ import annotations

import os
from pathlib import Path

import pytest

from emu85.errors import UserError
from emu85.firmware import atomic_write
from emu85.firmware.files import read_bytes, read_text


def test_writes_and_replaces(tmp_path: Path) -> None:
    target = tmp_path / "a.hex"
    atomic_write(target, "one\r\n")
    assert target.read_bytes() == b"one\r\n"
    atomic_write(target, b"two")
    assert target.read_bytes() == b"two"
    assert os.listdir(tmp_path) == ["a.hex"]


def test_a_failed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "a.hex"
    target.write_text("old")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(UserError, match="No space left on device"):
        atomic_write(target, "new")
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["a.hex"]


def test_permissions_stay(tmp_path: Path) -> None:
    target = tmp_path / "a.hex"
    target.write_text("old")
    target.chmod(0o640)
    atomic_write(target, "new")
    assert target.stat().st_mode & 0o777 == 0o640


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be written"):
        atomic_write(tmp_path / "missing" / "a.hex", b"")


def test_missing_file_offers_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "firmware.hex").touch()
    with pytest.raises(UserError) as caught:
        read_bytes(tmp_path / "firmwear.hex")
    assert caught.value.message == "no such file"
    assert caught.value.nearest == "firmware.hex"


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="not a plain file"):
        read_bytes(tmp_path)


def test_a_pipe_takes_the_bytes_and_stays(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        atomic_write(pipe, "text")
        assert os.read(reader, 10) == b"text"
    finally:
        os.close(reader)
    assert pipe.is_fifo()


def test_pipes_and_devices_are_read_where_they_may_be() -> None:
    for device in (Path("/dev/null"), Path("/dev/zero")):
        with pytest.raises(UserError, match="not a plain file"):
            read_bytes(device)
    assert read_text(Path("/dev/null"), pipes=True) == ""
    with pytest.raises(UserError, match="does not end"):
        read_bytes(Path("/dev/zero"), pipes=True)


def test_a_folder_is_never_read(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="not a plain file"):
        read_bytes(tmp_path, pipes=True)


def test_text_that_is_not_utf_8(tmp_path: Path) -> None:
    (tmp_path / "a.asm").write_bytes(b"; caf\xe9")
    assert read_text(tmp_path / "a.asm") == "; caf\xe9"
