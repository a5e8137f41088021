from __future__ import annotations

import pytest

from emu85.errors import UserError
from emu85.firmware import Image, Segment, read_binary, write_binary


def test_reads_at_an_address() -> None:
    assert read_binary(b"\x00\xff", 0xFFFE).segments == (Segment(0xFFFE, b"\x00\xff"),)


@pytest.mark.parametrize(
    ("data", "at", "message"),
    [
        (b"ab", 0xFFFF, "2 bytes at FFFF run past FFFF"),
        (bytes(0x10001), 0, "65537 bytes at 0000"),
        (b"a", 0x10000, "address 10000 does not exist"),
        (b"a", -1, "address -1 does not exist"),
        (b"", 0, "holds no bytes"),
    ],
)
def test_refuses(data: bytes, at: int, message: str) -> None:
    with pytest.raises(UserError) as caught:
        read_binary(data, at, "a.bin")
    assert message in caught.value.message
    assert caught.value.place.file == "a.bin"


def test_writes_with_gaps_filled() -> None:
    image = Image((Segment(0x10, b"\x01"), Segment(0x13, b"\x02")))
    assert write_binary(image) == b"\x01\xff\xff\x02"
    assert write_binary(image, fill=0) == b"\x01\x00\x00\x02"


def test_nothing_to_write() -> None:
    with pytest.raises(UserError, match="no bytes to write"):
        write_binary(Image((), source="a.asm"))
