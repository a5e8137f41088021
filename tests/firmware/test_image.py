from __future__ import annotations

import dataclasses

import pytest

from emu85.firmware import Image, Segment
from emu85.firmware.image import segments_of

IMAGE = Image((Segment(0x10, b"\x01\x02"), Segment(0x14, b"\x03")), {"GO": 0x10}, entry=0x10)


def test_span_and_size() -> None:
    assert IMAGE.span == (0x10, 0x14)
    assert IMAGE.size == 3


@pytest.mark.parametrize(
    ("start", "length", "expected"),
    [
        (0x10, 5, b"\x01\x02\xff\xff\x03"),
        (0x0F, 3, b"\xff\x01\x02"),
        (0x11, 1, b"\x02"),
        (0x12, 2, b"\xff\xff"),
        (0x14, 4, b"\x03\xff\xff\xff"),
        (0x20, 0, b""),
    ],
)
def test_bytes_at(start: int, length: int, expected: bytes) -> None:
    assert IMAGE.bytes_at(start, length) == expected


def test_fill_is_chosen() -> None:
    assert IMAGE.bytes_at(0x12, 3, fill=0) == b"\x00\x00\x03"


def test_overlap_is_refused() -> None:
    with pytest.raises(ValueError, match="overlap"):
        Image((Segment(0, b"ab"), Segment(1, b"c")))


def test_segment_beyond_ffff_is_refused() -> None:
    assert Segment(0xFFFF, b"a").end == 0x10000
    with pytest.raises(ValueError, match="leaves"):
        Segment(0xFFFF, b"ab")


def test_empty_has_no_span() -> None:
    with pytest.raises(ValueError, match="empty"):
        _ = Image(()).span


def test_nothing_can_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        IMAGE.entry = 1  # type: ignore[misc]
    with pytest.raises(TypeError):
        IMAGE.symbols["GO"] = 2  # type: ignore[index]


def test_caller_keeps_its_own_symbols() -> None:
    mine = {"A1": 1}
    image = Image((), symbols=mine)
    mine["A1"] = 2
    assert image.symbols == {"A1": 1}


def test_runs_of_cells() -> None:
    assert segments_of({5: 1, 4: 2, 7: 3}) == (Segment(4, b"\x02\x01"), Segment(7, b"\x03"))
    assert segments_of({}) == ()


def test_runs_are_the_segments_joined_unless_the_source_says_more() -> None:
    image = Image((Segment(0, b"\0\0"), Segment(2, b"\0"), Segment(0x10, b"\0")))
    assert image.runs == ((0, 3), (0x10, 0x11))
