from __future__ import annotations

from pathlib import Path

import pytest

from emu85.errors import UserError
from emu85.firmware import Segment, read_image


@pytest.mark.parametrize(
    ("name", "content", "start"),
    [
        ("a.hex", b":0100100000EF\n:00000001FF\n", 0x10),
        ("a.IHX", b":0100100000EF\r\n:00000001FF\r\n", 0x10),
        ("a.bin", b"\x00", 0),
        ("a.rom", b"\x00", 0),
        ("a.asm", b" ORG 20H\n NOP", 0x20),
        ("a.a85", b" NOP ; \xe9", 0),
        ("a.src", b"\xef\xbb\xbf NOP", 0),
    ],
)
def test_by_suffix(tmp_path: Path, name: str, content: bytes, start: int) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    image = read_image(path)
    assert image.segments == (Segment(start, b"\x00"),)
    assert image.source == str(path)


def test_a_binary_goes_where_it_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.write_bytes(b"\x01")
    assert read_image(str(path), at=0x8000).segments == (Segment(0x8000, b"\x01"),)


def test_other_formats_refuse_an_address(tmp_path: Path) -> None:
    path = tmp_path / "a.hex"
    path.write_text(":00000001FF")
    with pytest.raises(UserError, match="states its own addresses"):
        read_image(path, at=0)


def test_unknown_suffix() -> None:
    with pytest.raises(UserError) as caught:
        read_image("a.hexx")
    assert caught.value.nearest == ".hex"
    assert caught.value.place.file == "a.hexx"


def test_the_file_is_named_in_its_errors(tmp_path: Path) -> None:
    path = tmp_path / "a.asm"
    path.write_text(" NOP\n FOO")
    with pytest.raises(UserError) as caught:
        read_image(path)
    assert str(caught.value).startswith(f"{path}:2:2: ")
