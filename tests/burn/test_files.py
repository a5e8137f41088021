"""The files to burn, put together again and compared with the image."""

from __future__ import annotations

import zlib
from pathlib import Path

import pytest

from emu85.board import load_board, read_board
from emu85.burn import Subject, Wanted, study, write_files
from emu85.burn.chips import part_named
from emu85.burn.files import label
from emu85.burn.study import Study
from emu85.errors import UserError
from emu85.firmware import Image, Segment, assemble, read_hex
from tests.burn.bench import BOARD, LAST, program


def studied(image: Image, board: str = BOARD, **wanted: object) -> Study:
    description = read_board(board, "bench.yaml")
    return study(Subject(image, description), Wanted(**wanted))  # type: ignore[arg-type]


def test_two_chips(tmp_path: Path) -> None:
    image = program((LAST, " ORG 0A00H\n DB 'spare'"))
    done = studied(image, fill=0xE5)
    written = write_files(tmp_path / "burn", "bench v1", done.burnt, "")
    names = sorted(path.name for path in written)
    assert names == [
        "bench-v1-labels.txt",
        *("bench-v1-program.bin", "bench-v1-program.hex"),
        *("bench-v1-spare.bin", "bench-v1-spare.hex"),
    ]
    folder = tmp_path / "burn"
    first = (folder / "bench-v1-program.bin").read_bytes()
    second = (folder / "bench-v1-spare.bin").read_bytes()
    assert first == image.bytes_at(0, 0x800, 0xE5)
    assert second == image.bytes_at(0x800, 0x800, 0xE5)
    assert second[0x200:0x205] == b"spare"
    again = read_hex((folder / "bench-v1-spare.hex").read_text(), "spare.hex")
    assert again.bytes_at(0, 0x800) == second
    assert again.span == (0, 0x7FF)


def test_halves(tmp_path: Path) -> None:
    image = assemble(" LXI SP,8800H\nSTAY: JMP STAY\n ORG 0FFFH\n DB 55H", "halves.asm").image
    board = BOARD.replace(
        "{chip: 2716, name: program, at: 0000-07FF}", "{rom: 4K, name: pair, at: 0}"
    )
    board = board.replace("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", "")
    done = studied(image, board, part=part_named("2716"), halves=True)
    assert [(chip.name, chip.part, len(chip.data)) for chip in done.burnt] == [
        ("pair even", "2716", 0x800),
        ("pair odd", "2716", 0x800),
    ]
    write_files(tmp_path, "halves", done.burnt, "")
    even = (tmp_path / "halves-pair-even.bin").read_bytes()
    odd = (tmp_path / "halves-pair-odd.bin").read_bytes()
    together = bytes(byte for pair in zip(even, odd, strict=True) for byte in pair)
    assert together == image.bytes_at(0, 0x1000)
    assert odd[-1] == 0x55
    assert sum(chip.used for chip in done.burnt) == image.size


def test_an_image_at_a_mirror_goes_where_the_chip_has_it() -> None:
    board = load_board("slate")  # 0000-07FF is seen again every 800H up to 7FFF
    image = Image((Segment(0x1002, b"abc"),))
    (chip,) = study(Subject(image, board), Wanted()).burnt
    assert chip.data[2:5] == b"abc"
    assert chip.used == 3
    assert len(chip.data) == 0x800


def test_labels() -> None:
    done = studied(program())
    data = done.burnt[0].data
    sums = f"sum {sum(data) & 0xFFFF:04X}  CRC-32 {zlib.crc32(data):08X}"
    expected = f"bench  program  2716  0000-07FF  {sums}"
    assert label("bench", done.burnt[0]) == expected
    assert label("bench", done.burnt[0], "1 May") == f"{expected}  1 May"


def test_the_same_chips_give_the_same_files(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_files(tmp_path / name, "bench", studied(program()).burnt, "")
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(UserError, match="cannot be made"):
        write_files(tmp_path / "taken", "bench", studied(program()).burnt, "")
