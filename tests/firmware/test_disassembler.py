from __future__ import annotations

from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.firmware import assemble, disassemble, disassemble_range, write_source


def reader(data: bytes, at: int = 0) -> Callable[[int], int]:
    return lambda address: data[address - at]


# JMP 1005; LXI H,2000; MVI A,41; HLT, encoded by hand.
CODE = bytes.fromhex("C3 06 10 21 00 20 3E 41 76")
SYMBOLS = {"GO": 0x1006, "ALSO": 0x1006, "TABLE": 0x2000, "A": 0x1003, "bad name": 0x1003}


def test_a_range_with_symbols() -> None:
    lines = disassemble_range(reader(CODE, 0x1000), 0x1000, 0x1009, symbols=SYMBOLS)
    assert [(line.address, line.label, line.text) for line in lines] == [
        (0x1000, "", "JMP GO"),
        (0x1003, "", "LXI H,TABLE"),
        (0x1006, "GO", "MVI A,41H"),
        (0x1008, "", "HLT"),
    ]
    assert [line.bytes for line in lines] == [CODE[:3], CODE[3:6], CODE[6:8], CODE[8:]]


def test_source_equates_the_names_that_stand_elsewhere() -> None:
    lines = disassemble_range(reader(CODE, 0x1000), 0x1000, 0x1009, symbols=SYMBOLS)
    assert write_source(lines, SYMBOLS).splitlines() == [
        "TABLE   EQU 2000H",
        "        ORG 1000H",
        "        JMP GO",
        "        LXI H,TABLE",
        "GO:",
        "        MVI A,41H",
        "        HLT",
        "        END",
    ]


def test_an_instruction_cut_off_is_bytes() -> None:
    lines = disassemble_range(reader(b"\x00\xcd\x34"), 0, 3)
    assert [line.text for line in lines] == ["NOP", "DB 0CDH", "INR M"]
    assert lines[1].instruction is None
    assert disassemble(reader(b"\x3e", 0xFFFF), 0xFFFF).text == "DB 3EH"
    assert disassemble(reader(b"\x3e\x01"), 0, end=1).text == "DB 3EH"


def test_bytes_are_never_named() -> None:
    assert disassemble(reader(b"\x3e\x05"), 0, symbols={"FIVE": 5}).text == "MVI A,05H"


def test_names_that_differ_in_case_only_are_one() -> None:
    data = b"\xc3\x10\x00\xc3\x20\x00"
    symbols = {"Out": 0x10, "OUT1": 0x20, "out1": 0x10}
    texts = [line.text for line in disassemble_range(reader(data), 0, 6, symbols=symbols)]
    assert texts == ["JMP 0010H", "JMP OUT1"]  # OUT is a mnemonic


def test_source_of_two_stretches() -> None:
    memory = {0: 0x00, 1: 0x76, 9: 0xC9}
    lines = (
        *disassemble_range(memory.__getitem__, 0, 2),
        *disassemble_range(memory.__getitem__, 9, 10),
    )
    image = assemble(write_source(lines)).image
    assert {s.start + i: b for s in image.segments for i, b in enumerate(s.data)} == memory


NAMES = st.from_regex(r"[A-Za-z_?@][A-Za-z0-9_?@$]{0,5}", fullmatch=True)


@settings(deadline=None)
@given(
    st.binary(min_size=1, max_size=80),
    st.integers(0, 0xFF80),
    st.dictionaries(NAMES, st.integers(0, 0xFFFF), max_size=5),
)
def test_any_bytes_come_back(data: bytes, start: int, named: dict[str, int]) -> None:
    symbols = dict(named)
    # Names that are sure to be met: at the start, amid the bytes, and as an operand.
    symbols |= {"START_": start, "INSIDE_": start + len(data) // 2, "OUT_": data[-1] * 257}
    lines = disassemble_range(reader(data, start), start, start + len(data), symbols=symbols)
    (segment,) = assemble(write_source(lines, symbols)).image.segments
    assert (segment.start, segment.data) == (start, data)


def test_an_equated_name_labels_no_line_but_may_be_an_operand() -> None:
    code = bytes([0x00, 0xC3, 0x01, 0x00])  # NOP; JMP 0001
    lines = disassemble_range(code.__getitem__, 0, 4, symbols={"ONE": 1}, equated={"ONE"})
    assert [(line.label, line.text) for line in lines] == [("", "NOP"), ("", "JMP ONE")]
    assert write_source(lines, {"ONE": 1}).startswith("ONE     EQU 0001H\n")
