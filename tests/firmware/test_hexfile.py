"""Intel HEX.

Source of the record layout: Intel, Hexadecimal Object File Format Specification,
revision A, 1988 (value from memory).  Checksums of the records below were added
up by hand or, where said, by ``binascii``.
"""

from __future__ import annotations

import binascii
import io

import intelhex
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.firmware import Image, Segment, read_hex, write_hex
from emu85.firmware.image import segments_of

END = ":00000001FF"


def record(content: str) -> str:
    """A record with its checksum, two's complement of the sum, by binascii."""
    total = sum(binascii.unhexlify(content))
    return f":{content}{-total & 0xFF:02X}"


def test_reads_records() -> None:
    # 03+00+30+00+02+33+7A = E2, so the checksum is 1E.
    image = read_hex(":0300300002337A1E\n:01004000417E\n:00000001FF\n", "a.hex")
    assert image.segments == (Segment(0x30, b"\x02\x33\x7a"), Segment(0x40, b"A"))
    assert image.entry is None
    assert image.source == "a.hex"


def test_lower_case_carriage_returns_blank_lines_and_control_z() -> None:
    image = read_hex("\r\n  :0300300002337a1e \r\n\r\n:00000001ff\r\n\x1a")
    assert image.segments == (Segment(0x30, b"\x02\x33\x7a"),)


def test_records_in_any_order_join() -> None:
    text = "\n".join((record("01000100BB"), record("01000000AA"), END))
    assert read_hex(text).segments == (Segment(0, b"\xaa\xbb"),)


def test_no_data_is_an_empty_image() -> None:
    assert read_hex(END).segments == ()


@pytest.mark.parametrize(
    ("start", "entry"),
    [
        (record("0400000300001234"), 0x1234),
        (record("0400000301000020"), 0x1020),
        (record("040000050000ABCD"), 0xABCD),
    ],
)
def test_entry_from_a_start_record(start: str, entry: int) -> None:
    assert read_hex(f"{start}\n{END}").entry == entry


def test_entry_from_the_end_record() -> None:
    assert read_hex(record("00010001")).entry == 0x100


def test_base_records_that_stay_in_64k() -> None:
    text = "\n".join((record("020000020100"), record("0100020055"), END))
    assert read_hex(text).segments == (Segment(0x1002, b"\x55"),)


GOOD = record("0100100041")
FAULTS = {
    "no colon": (f"{GOOD}\n0100200041\n{END}", 2, 1, "starts with ':'"),
    "not hex": (f":0100G00041AE\n{END}", 1, 6, "'G' is not a hex digit"),
    "checksum": (f"{GOOD}\n:01002000419F\n{END}", 2, 12, "9F is wrong"),
    "too short": (f":0100\n{END}", 1, 6, "cut short after 4 digits"),
    "truncated": (f"{GOOD}\n:10002000414243", 2, 16, "cut short after 14 digits"),
    "half a byte": (":0000000", 1, 9, "cut short after 7 digits"),
    "too long": (f":010010004141AD\n{END}", 1, 14, "do not fit the length byte 01"),
    "unknown type": (f"{record('00000006')}\n{END}", 1, 8, "record type 06 is unknown"),
    "no end": (f"{GOOD}\n", 1, 14, "EOF record is missing"),
    "empty": ("", 1, 1, "EOF record is missing"),
    "after the end": (f"{END}\n{GOOD}", 2, 1, "after the EOF record"),
    "overlap": (
        f"{record('02001000AABB')}\n{record('02000F00CCDD')}\n{END}",
        *(2, 12, "address 0010 already has a byte from line 1"),
    ),
    "past FFFF": (f"{record('02FFFF000102')}\n{END}", 1, 4, "data at 10000, beyond FFFF"),
    "beyond by segment": (
        f"{record('02000002F001')}\n{record('01FFF00033')}\n{END}",
        *(2, 4, "data at 100000, beyond FFFF"),
    ),
    "beyond by linear base": (
        f"{record('020000040001')}\n{record('0100000033')}\n{END}",
        *(2, 4, "data at 10000, beyond FFFF"),
    ),
    "end with data": (f"{record('0100000100')}", 1, 2, "length 01 in a record of type 01"),
    "base too long": (f"{record('03000004000000')}\n{END}", 1, 2, "length 03"),
    "base with address": (f"{record('020001040000')}\n{END}", 1, 4, "address 0001"),
    "two starts": (
        f"{record('0400000300000000')}\n{record('0400000500000000')}\n{END}",
        *(2, 8, "second start address"),
    ),
    "start beyond": (f"{record('0400000500010000')}\n{END}", 1, 10, "start address 10000"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_has_its_place(name: str) -> None:
    text, line, column, message = FAULTS[name]
    with pytest.raises(UserError) as caught:
        read_hex(text, "bad.hex")
    error = caught.value
    assert (error.place.file, error.place.line, error.place.column) == ("bad.hex", line, column)
    assert message in error.message
    assert error.expected
    assert str(error).startswith(f"bad.hex:{line}:{column}: ")


def test_the_column_counts_the_indent() -> None:
    with pytest.raises(UserError) as caught:
        read_hex("  :00000001FE")
    assert caught.value.place.column == 12
    assert str(caught.value).endswith("  :00000001FE\n               ^")


def test_writes_records() -> None:
    image = Image((Segment(0x30, b"\x02\x33\x7a"),), entry=0x30)
    assert write_hex(image).splitlines() == [":0400000300000030C9", ":0300300002337A1E", END]


CELLS = st.dictionaries(st.integers(0, 0xFFFF), st.integers(0, 255), max_size=60)
RUNS = st.tuples(st.integers(0, 0xFF00), st.binary(min_size=1, max_size=200))


@settings(deadline=None)
@given(CELLS, st.none() | st.integers(0, 0xFFFF))
def test_comes_back_as_it_went(cells: dict[int, int], entry: int | None) -> None:
    image = Image(segments_of(cells), entry=entry)
    again = read_hex(write_hex(image))
    assert (again.segments, again.entry) == (image.segments, entry)


@settings(deadline=None)
@given(RUNS)
def test_output_agrees_with_binascii_and_intelhex(run: tuple[int, bytes]) -> None:
    start, data = run
    text = write_hex(Image((Segment(start, data),)))
    records = [binascii.unhexlify(line[1:]) for line in text.split()]
    assert all(sum(r) & 0xFF == 0 and r[0] == len(r) - 5 for r in records)
    assert b"".join(r[4:-1] for r in records) == data
    reader = intelhex.IntelHex(io.StringIO(text))
    assert reader.minaddr() == start
    assert reader.tobinstr() == data
