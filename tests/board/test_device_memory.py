"""Memory in one package with a device: decoded, burnt and filled as any chip is."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.board import describe, fit, read_board
from emu85.cpu.layout import UNWRITTEN, MapBit
from emu85.errors import UserError
from emu85.firmware import Image, Segment
from tests.board.fakes import Bench

pytestmark = pytest.mark.usefixtures("parts")

HEAD = "name: small\ncrystal: 4 MHz\n"
SMALL = (
    HEAD
    + "ports:\n"
    + "  - {device: romport, name: program, at: 10, memory-at: 0000-07FF, memory-waits: 1}\n"
    + "  - {device: ramport, name: pio, at: 20-21, memory-at: 8000-81FF, memory-ignores: A12}\n"
)


def image(start: int, data: bytes) -> Image:
    return Image((Segment(start, data),), {}, {}, None, "test")


def word(bench: Bench, index: int) -> int:
    return int(bench.board.store[bench.word(index) & ((1 << 20) - 1)])


def test_a_board_may_have_no_other_memory() -> None:
    bench = Bench(SMALL)
    assert [chip.name for chip in bench.board.description.memory] == ["program ROM", "pio RAM"]
    bench.write(0x8005, 0x5A)
    # 256 bytes fill 512 addresses twice, and again with A12 high.
    for mirror in (0x8005, 0x8105, 0x9005, 0x9105):
        assert bench.read(mirror) == 0x5A
    assert bench.has(0x8200, MapBit.NO_READER)
    assert bench.word(0x0000) >> 20 & 0xFF == 1 and bench.word(0x8000) >> 20 & 0xFF == 0


def test_its_registers_are_where_they_were() -> None:
    bench = Bench(SMALL)
    bench.port_out(0x20, 0x33)
    assert bench.port_in(0x20) == bench.port_in(0x21) == 0x33
    assert bench.read(0x8000) == 0x00


def test_images_and_findings() -> None:
    bench = Bench(SMALL)
    bench.board.program(image(0x0000, b"\x3e\x01\x76"))
    assert [bench.read(address) for address in range(4)] == [0x3E, 0x01, 0x76, 0xFF]
    assert not bench.has(2, MapBit.NOT_CODE) and bench.has(3, MapBit.NOT_CODE)
    assert bench.has(0, MapBit.ROM) and not bench.has(0x8000, MapBit.ROM)
    assert word(bench, 0x8000) & UNWRITTEN
    bench.write(0x8000, 0)
    assert not word(bench, 0x8000) & UNWRITTEN
    with pytest.raises(UserError, match=r"a byte at 0800.*0000-07FF, 8000-80FF"):
        bench.board.program(image(0x07FF, b"\0\0"))


def test_power_and_reset() -> None:
    bench = Bench(SMALL + "fill: pattern 5C\n")
    bench.write(0x8001, 1)
    bench.board.reset()
    assert bench.read(0x8001) == 1
    bench.board.power()
    assert bench.read(0x8001) == 0x5C and word(bench, 0x8001) & UNWRITTEN


def test_options_of_the_memory(tmp_path: Path) -> None:
    (tmp_path / "p.bin").write_bytes(b"\xc3\x00\x01")
    text = SMALL.replace("memory-waits: 1", "image: p.bin").replace("A12", "A12, code: yes")
    bench = Bench(text, str(tmp_path / "b.yaml"))
    assert [bench.read(address) for address in range(3)] == [0xC3, 0x00, 0x01]
    assert not bench.has(0x8000, MapBit.NOT_CODE)


def test_in_the_memory_space_and_twice() -> None:
    bench = Bench(
        HEAD
        + "memory:\n  - {ram: 1K, name: ramport RAM, at: 0000}\n"
        + "  - {device: ramport, at: 4000, memory-at: 8000}\n"
        + "ports:\n  - {device: ramport, at: 40, memory-at: 9000, battery: yes}\n"
    )
    names = [(chip.name, chip.select.low) for chip in bench.board.description.memory]
    assert names == [("ramport RAM", 0), ("ramport RAM 2", 0x8000), ("ramport 2 RAM", 0x9000)]
    bench.write(0x4000, 9)
    bench.write(0x9000, 8)
    assert bench.read(0x4000) == 9
    bench.board.power()
    assert bench.read(0x9000) == 8


@pytest.mark.parametrize(
    ("entry", "column", "words"),
    [
        ("{device: ramport, at: 20}", 5, "device ramport has no 'memory-at'; expected an address"),
        ("{device: ramport, at: 20, memory-at: FF80}", 42, "256 addresses from FF80 go beyond"),
        (
            "{device: ramport, at: 20, memory-at: 0, memory-ignores: A7}",
            61,
            "chip itself uses.*A8 to A15",
        ),
        ("{device: ramport, at: 20, memory-at: 0, image: a.bin}", 45, "unknown key .*'image'"),
        ("{device: romport, at: 20, memory-at: 0, code: yes}", 45, "unknown key .*'code'"),
        (
            "{device: latch, at: 20, memory-at: 0}",
            29,
            "unknown key of device latch 'memory-at'",
        ),
        (
            "{device: ramport, at: 20, memori-at: 0}",
            31,
            "'memori-at'.*did you mean 'memory-at'",
        ),
    ],
)
def test_mistakes(entry: str, column: int, words: str) -> None:
    with pytest.raises(UserError, match=words) as caught:
        read_board(HEAD + f"ports:\n  - {entry}\n", "bad.yaml")
    assert (caught.value.place.line, caught.value.place.column) == (4, column)


def test_as_text() -> None:
    text = describe(fit(read_board(SMALL, "b.yaml")))
    rows = [" ".join(row.split()) for row in text.splitlines()]
    for expected in (
        "0000-07FF 1 wait program ROM, romport ROM of 2K",
        "8000-80FF pio RAM, ramport RAM of 256 bytes",
        "8100-81FF ~ pio RAM, 8000-80FF again",
        "20 pio, device ramport",
    ):
        assert expected in rows
