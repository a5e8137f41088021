"""An image and the chips it goes into: its size, what fills the rest, mirrors, part numbers."""

from __future__ import annotations

import pytest

from emu85.burn import Result, Wanted
from emu85.burn.chips import part_named
from emu85.burn.study import Stored
from emu85.burn.sums import SUMS
from emu85.errors import UserError
from emu85.firmware import Image, Segment, assemble
from tests.burn.bench import BOARD, examined, notes, program, results

MIRRORED = (
    ("name: program, at: 0000-07FF", "name: program, at: 0000-0FFF"),
    ("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", ""),
)
"""The program EPROM of 2K is seen twice."""


def whole() -> bytes:
    """The 2716 as it is burnt."""
    data = bytearray(b"\xff" * 0x800)
    for segment in program().segments:
        data[segment.start : segment.end] = segment.data
    return bytes(data)


def of_twice(second: bytes) -> Image:
    return Image((Segment(0, whole() + second),), source="large.bin")


def test_an_image_twice_as_large_as_its_chip_is_told() -> None:
    found = examined(of_twice(whole()), *MIRRORED)
    assert results(found) == {"fits": Result.LOOK}
    assert notes(found, "fits") == [
        "0800: the image gives 4096 bytes for program, a chip of 2K: the others are the same again"
    ]


def test_what_a_larger_chip_holds_behind_the_program_does_not_replace_it() -> None:
    found = examined(of_twice(b"\xff" * 0x800), *MIRRORED)
    assert results(found) == {"fits": Result.FAULT}
    differing = sum(byte != 0xFF for byte in whole())
    (note,) = notes(found, "fits")
    assert note.endswith(f"a chip of 2K: {differing} bytes otherwise than before")
    assert found.chips[0].used == 0x800


SUMMING = """
        ORG     0
        LXI     SP,8800H
        LXI     H,0             ; the sum of the chip's bytes before 7FE
        LXI     D,0
ADDING: LDAX    D
        MOV     C,A
        MVI     B,0
        DAD     B
        INX     D
        MOV     A,D
        CPI     7
        JNZ     ADDING
        MOV     A,E
        CPI     0FEH
        JNZ     ADDING
        XCHG
        LHLD    7FEH
        MOV     A,H
        CMP     D
        JNZ     WRONG
        MOV     A,L
        CMP     E
        JNZ     WRONG
GOOD:   JMP     GOOD
WRONG:  STA     0
        JMP     WRONG
"""


@pytest.mark.parametrize("fill", [0x00, 0xFF, 0x55])
def test_the_run_has_the_fill_byte_where_the_image_has_none(fill: int) -> None:
    """Firmware that sums its own chip, the bytes that the programmer fills in included."""
    code = assemble(SUMMING, "sum.asm").image.segments[0].data
    total = sum(code) + fill * (0x7FE - len(code))
    stored = (total & 0xFFFF).to_bytes(2, "little")
    image = Image((Segment(0, code), Segment(0x7FE, stored)))
    accepted = frozenset({"rom-stores"})
    found = examined(image, wanted=Wanted(fill=fill, accepted=accepted), milliseconds=200)
    assert results(found) == {"rom-stores": Result.ACCEPTED}
    other = examined(image, wanted=Wanted(fill=fill ^ 1, accepted=accepted), milliseconds=200)
    assert results(other)["run-rom-writes"] is Result.FAULT


def test_a_stack_in_a_mirror_of_the_stacks_ram_is_in_it() -> None:
    """A11 is not decoded, so 8FFF is 87FF."""
    mirror = ("name: work, at: 8000-87FF", "name: work, at: 8000-87FF, ignores: A11")
    found = examined(program(("LXI     SP,8800H", "LXI SP,9000H")), mirror)
    assert results(found) == {}
    assert found.run is not None
    (stack,) = found.run.stacks
    assert (stack.low, stack.high, stack.top) == (0x8700, 0x87FF, 0x87FF)


def test_a_sum_beyond_the_end_of_the_chip_is_told_as_that() -> None:
    wanted = Wanted(stored=(Stored(SUMS["crc-32"], 0x7FE),))
    found = examined(program(), wanted=wanted)
    assert notes(found, "stored-sum") == [
        "07FE: the stored CRC-32 has 4 bytes, beyond the end of the chip"
    ]


@pytest.mark.parametrize(
    ("name", "size"),
    [("2716", 2), ("2732A", 4), ("2764a", 8), ("27C64", 8), ("27C256-15", 32), ("27128A-20", 16)],
)
def test_letters_of_a_version_are_taken(name: str, size: int) -> None:
    """Kilobits in the last digits; C for CMOS, the version, the access time: common practice,
    no published source."""
    part = part_named(name)
    assert (part.size, part.number) == (size * 1024, name.upper())


@pytest.mark.parametrize("name", ["2708", "27C", "2764-", "6264", "27644"])
def test_what_is_no_eprom(name: str) -> None:
    with pytest.raises(UserError, match="there is no EPROM"):
        part_named(name)


def test_a_version_of_the_boards_part_is_no_other_part() -> None:
    assert "2716" in BOARD
    found = examined(program(), wanted=Wanted(part=part_named("27C16-45")))
    assert results(found) == {}
    assert found.wanted_part == "27C16-45"
