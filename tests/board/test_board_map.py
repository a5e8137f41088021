"""The decode map against expectations worked out from address lines alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu85.board import Region, fit, load_board, read_board
from emu85.board.fill import random_bytes
from emu85.cpu.layout import INDEX_MASK, IO_BASE, SPACE, UNWRITTEN, WAIT_SHIFT, MapBit
from emu85.errors import UserError
from emu85.firmware import Image, Segment
from tests.board.fakes import MINIMAL, Bench


def image(*segments: tuple[int, bytes]) -> Image:
    return Image(tuple(Segment(start, data) for start, data in segments), source="test")


def selected(low: int, high: int, ignored: set[int]) -> set[int]:
    """Addresses that differ from one in the range only in ignored lines, by counting lines."""
    lines_looked_at = [n for n in range(16) if n not in ignored]

    def key(address: int) -> tuple[int, ...]:
        return tuple(address >> n & 1 for n in lines_looked_at)

    wanted = {key(address) for address in range(low, high + 1)}
    return {address for address in range(0x10000) if key(address) in wanted}


@settings(max_examples=8, deadline=None)
@given(
    size_bits=st.integers(8, 14),
    low_page=st.integers(0, 0xFF),
    pages=st.integers(1, 0x40),
    above=st.sets(st.integers(0, 7), max_size=3),
)
def test_any_select_range(size_bits: int, low_page: int, pages: int, above: set[int]) -> None:
    low, high = low_page << 8, min(0xFFFF, (low_page + pages << 8) - 1)
    ignored = {n for n in (size_bits + a for a in above) if n < 16}
    ignores = ", ".join(f"A{n}" for n in sorted(ignored))
    board = fit(
        read_board(
            "name: any\ncrystal: 4 MHz\nmemory:\n"
            f"  - ram: {1 << size_bits}\n    at: {low:04X}-{high:04X}\n    ignores: [{ignores}]\n",
            "any.yaml",
        )
    )
    inside = selected(low, high, ignored)
    cells: dict[int, int] = {}
    for address in range(0x10000):
        word = int(board.map[address])
        assert bool(word & MapBit.NO_READER) == (address not in inside)
        if address in inside:
            own_lines = address % (1 << size_bits)
            assert cells.setdefault(own_lines, word & INDEX_MASK) == word & INDEX_MASK
    assert len(set(cells.values())) == len(cells)


def test_slate_is_decoded_by_a15_alone() -> None:
    board = fit(load_board("slate"))
    index = board.map[:IO_BASE] & INDEX_MASK
    for address in (0x0000, 0x0123, 0x07FF):
        rom = {int(index[address + 0x800 * n]) for n in range(16)}
        ram = {int(index[0x8000 + address + 0x800 * n]) for n in range(16)}
        assert len(rom) == 1 and len(ram) == 1 and not rom & ram
    assert len(np.unique(index)) == 2 * 2048
    assert ((board.map[:0x8000] & MapBit.ROM) != 0).all()
    assert ((board.map[0x8000:IO_BASE] & MapBit.ROM) == 0).all()


def test_slate_lamps_answer_where_a7_is_low_and_a6_high() -> None:
    board = fit(load_board("slate"))
    ports = {port for port in range(256) if IO_BASE + port in board.writers}
    assert ports == {port for port in range(256) if port & 0xC0 == 0x40}


def test_saltmarsh_regions() -> None:
    board = fit(load_board("saltmarsh"))
    assert board.memory_map() == [
        Region("program", 0x0000, 0x1FFF, None, 0, "rom"),
        Region("", 0x2000, 0x9FFF, None, 0, "gap"),
        Region("log", 0xA000, 0xBFFF, None, 0, "ram"),
        Region("", 0xC000, 0xDFFF, None, 0, "gap"),
        Region("log", 0xE000, 0xFFFF, (0xA000, 0xBFFF), 0, "ram"),
    ]
    assert [(r.chip, r.low, r.high, r.waits) for r in board.port_map() if r.chip] == [
        ("control", 0x10, 0x10, 0),
        ("lamps", 0x11, 0x11, 0),
        ("station", 0x14, 0x14, 0),
        ("float", 0x18, 0x19, 1),
    ]
    assert board.clock_hz == 3_072_000


def test_a_gap_floats_at_the_pull_up_value() -> None:
    bench = Bench(MINIMAL + "pull-ups: 5A\n")
    for index in (0x0800, 0xFFFF, IO_BASE, IO_BASE + 0xFF):
        assert bench.read(index) == 0x5A
        assert bench.board.peek(index) == 0x5A
        assert bench.has(index, MapBit.NO_READER) and bench.has(index, MapBit.NO_WRITER)
    bench.write(0x0800, 0x00)
    assert bench.read(0x0800) == 0x5A


def test_wait_states_stand_in_the_map_word() -> None:
    bench = Bench(
        MINIMAL.replace("at: 0000", "at: 0000\n    waits: 3")
        + "ports:\n  - device: lamps\n    at: 20-21\n    waits: 255\n"
    )
    assert (bench.word(0x07FF) >> WAIT_SHIFT) & 0xFF == 3
    assert (bench.word(0x0800) >> WAIT_SHIFT) & 0xFF == 0
    assert (bench.word(IO_BASE + 0x21) >> WAIT_SHIFT) & 0xFF == 255
    assert (bench.word(IO_BASE + 0x22) >> WAIT_SHIFT) & 0xFF == 0


def test_stack_regions() -> None:
    bench = Bench(MINIMAL + "stack: [8700-87FF, 9000]\n")
    inside = {*range(0x8700, 0x8800), 0x9000}
    for address in range(0x10000):
        assert bench.has(address, MapBit.NOT_STACK) == (address not in inside)
    assert not bench.has(IO_BASE, MapBit.NOT_STACK)
    assert not Bench(MINIMAL).has(0, MapBit.NOT_STACK)


OVERLAP = """\
name: overlap
crystal: 4 MHz
fill: pattern F0
memory:
  - rom: 2K
    name: low
    at: 0000
    waits: 1
  - ram: 2K
    name: work
    at: 0400-0BFF
    waits: 2
"""


def test_overlapping_chips_fight() -> None:
    bench = Bench(OVERLAP)
    bench.board.program(image((0x0000, bytes([0x3C]) * 0x0400)))
    bench.board.program(image((0x0500, b"\xcc")))  # goes into both
    assert [(r.chip, r.low, r.high, r.kind, r.waits) for r in bench.board.memory_map()][:3] == [
        ("low", 0x0000, 0x03FF, "rom", 1),
        ("low + work", 0x0400, 0x07FF, "overlap", 2),
        ("work", 0x0800, 0x0BFF, "ram", 2),
    ]
    assert not bench.has(0x03FF, MapBit.CONTENTION)
    for address in (0x0400, 0x07FF):
        assert bench.has(address, MapBit.CONTENTION) and bench.has(address, MapBit.READ_EXIT)
        assert (bench.word(address) >> WAIT_SHIFT) & 0xFF == 2
    assert bench.read(0x0400) == 0xFF & 0xF0  # blank ROM and the RAM's fill
    assert bench.read(0x0500) == 0xCC
    bench.write(0x0500, 0x0F)
    assert bench.read(0x0500) == 0xCC & 0x0F
    assert bench.board.peek(0x0500) == 0xCC & 0x0F
    bench.write(0x0500, 0xFF)
    assert bench.read(0x0500) == 0xCC  # the ROM kept its byte


def test_the_slowest_of_two_chips_sets_the_wait_states() -> None:
    for first, second in ((1, 2), (2, 1)):
        low, _, work = OVERLAP.partition("  - ram")
        low, work = (
            low.replace("waits: 1", f"waits: {first}"),
            work.replace("waits: 2", f"waits: {second}"),
        )
        bench = Bench(f"{low}  - ram{work}")
        assert (bench.word(0x0400) >> WAIT_SHIFT) & 0xFF == 2


def test_two_rams_on_one_address_both_take_a_write() -> None:
    bench = Bench(
        "name: two\ncrystal: 4 MHz\nmemory:\n"
        "  - ram: 1K\n    name: a\n    at: 8000\n"
        "  - ram: 1K\n    name: b\n    at: 8000-83FF\n    ignores: A15\n"
    )
    bench.write(0x8001, 0xA5)
    assert bench.read(0x0001) == 0xA5  # b alone
    bench.write(0x0001, 0x0F)
    assert bench.read(0x8001) == 0xA5 & 0x0F


def test_a_latch_written_under_a_rom_leaves_the_rom_alone() -> None:
    bench = Bench(
        MINIMAL + "  - device: latch\n    name: under\n    at: 0010\n",
    )
    bench.board.program(image((0x0010, b"\x76")))
    bench.write(0x0010, 0x12)
    assert bench.read(0x0010) == 0x76 == bench.board.peek(0x0010)
    assert bench.board.devices["under"].state().startswith("12")
    assert not bench.has(0x0010, MapBit.ROM)
    assert bench.has(0x0011, MapBit.ROM)


def test_an_output_port_floats_before_it_is_written() -> None:
    bench = Bench(MINIMAL + "pull-ups: 5A\nports:\n  - {device: latch, at: 20}\n")
    assert bench.port_in(0x20) == 0x5A
    bench.port_out(0x20, 0x11)
    assert bench.port_in(0x20) == 0x5A
    bench.board.power()
    assert bench.port_in(0x20) == 0x5A == bench.board.peek(IO_BASE + 0x20)


def test_one_port_for_two_directions_is_no_contention() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - device: switches\n    at: 20\n    value: 81\n"
        + "  - device: lamps\n    at: 20\n"
    )
    index = IO_BASE + 0x20
    assert not bench.has(index, MapBit.CONTENTION | MapBit.READ_EXIT | MapBit.NO_READER)
    bench.port_out(0x20, 0x7E)
    assert bench.port_in(0x20) == 0x81
    assert bench.board.devices["lamps"].state().split()[0] == "·●●●●●●·"


def test_two_inputs_on_one_port_fight() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - device: switches\n    name: a\n    at: 20\n    value: 3C\n"
        + "  - device: switches\n    name: b\n    at: 20-21\n    value: 99\n    shared: yes\n"
    )
    assert bench.has(IO_BASE + 0x20, MapBit.CONTENTION)
    assert bench.port_in(0x20) == 0x3C & 0x99
    assert bench.port_in(0x21) == 0x99


def test_registers_follow_the_low_address_lines() -> None:
    bench = Bench(
        MINIMAL
        + "ports:\n  - device: converter\n    at: 41-44\n    values: [11]\n    convert: 10 us\n"
    )
    bench.port_out(0x42, 0)  # A0 low: register 0 starts a conversion
    for port in (0x41, 0x43):
        assert bench.port_in(port) == 0x80
    bench.run_to(20)
    assert bench.port_in(0x43) == 0x00
    assert bench.port_in(0x44) == 0x11


def test_a_device_in_memory_with_mirrors() -> None:
    bench = Bench(MINIMAL + "  - device: lamps\n    at: C000-FFFF\n")
    bench.write(0xE123, 0xFF)
    assert "●●●●●●●●" in bench.board.devices["lamps"].state()
    assert bench.read(0xE123) == 0xFF == bench.board.description.pull_ups
    assert bench.has(0xC000, MapBit.NOT_CODE) and bench.has(0xC000, MapBit.NO_READER)


def test_programmed_bytes_are_code_at_every_mirror() -> None:
    bench = Bench("name: m\ncrystal: 4 MHz\nmemory:\n  - rom: 1K\n    at: 0000-1FFF\n")
    assert bench.has(0x0005, MapBit.NOT_CODE)
    bench.board.program(image((0x0405, b"\x3e\x01")))  # a mirror of 0005
    for base in range(0, 0x2000, 0x400):
        assert [bench.has(base + n, MapBit.NOT_CODE) for n in (4, 5, 6, 7)] == [
            True,
            False,
            False,
            True,
        ]
        assert bench.read(base + 6) == 0x01


def test_program_keeps_watch_bits_and_the_arrays() -> None:
    bench = Bench(MINIMAL)
    the_map, the_store = bench.board.map, bench.board.store
    the_map[0x0005] |= 1 << 29
    bench.board.program(image((0x0005, b"\x00")))
    bench.board.power()
    assert bench.board.map is the_map and bench.board.store is the_store
    assert bench.word(0x0005) & 1 << 29
    assert the_map.dtype == np.int64 and the_map.shape == (SPACE,)
    assert the_store.dtype == np.uint16


def test_program_where_no_chip_is_changes_nothing() -> None:
    bench = Bench(MINIMAL)
    with pytest.raises(UserError, match="0800, where the board has no memory"):
        bench.board.program(image((0x0000, b"\x55"), (0x07FF, b"\x01\x02")))
    assert bench.read(0x0000) == 0xFF


RAM = "name: r\ncrystal: 4 MHz\nmemory:\n  - ram: 2K\n    at: 8000\n"


def test_code_ram_and_programs_in_ram() -> None:
    assert not Bench(RAM + "    code: yes\n").has(0x8000, MapBit.NOT_CODE)
    bench = Bench(RAM)
    bench.board.program(image((0x8000, b"\xc9")))
    assert not bench.has(0x8000, MapBit.NOT_CODE) and bench.has(0x8001, MapBit.NOT_CODE)
    bench.board.power()  # the program is lost with the power
    assert bench.has(0x8000, MapBit.NOT_CODE)
    assert bench.board.store[bench.word(0x8000) & INDEX_MASK] & UNWRITTEN


@pytest.mark.parametrize(
    ("fill", "expected"),
    [("zeros", b"\x00" * 4), ("pattern 55", b"\x55" * 4), ("pattern 0C3H", b"\xc3" * 4)],
)
def test_fill(fill: str, expected: bytes) -> None:
    bench = Bench(RAM + f"fill: {fill}\n")
    cells = bench.board.map[0x8000:0x8004] & INDEX_MASK
    assert (bench.board.store[cells] >> 8 == 1).all()
    assert bytes(bench.read(0x8000 + n) for n in range(4)) == expected


def splitmix64(seed: int, count: int) -> list[int]:
    """The generator again, in whole numbers, from its published definition."""
    found, state = [], seed
    for _ in range(count):
        state = (state + 0x9E3779B97F4A7C15) % 2**64
        z = state
        z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9 % 2**64
        z = (z ^ z >> 27) * 0x94D049BB133111EB % 2**64
        found.append((z ^ z >> 31) >> 56)
    return found


def test_random_fill_is_the_seed_and_nothing_else() -> None:
    assert random_bytes(85, 300).tolist() == splitmix64(85, 300)
    one, two, other = (Bench(RAM + f"fill: random {seed}\n") for seed in (7, 7, 8))
    assert (one.board.store == two.board.store).all()
    assert (one.board.store != other.board.store).any()


def test_ram_keeps_its_bytes_over_reset_and_a_battery_over_power() -> None:
    bench = Bench(RAM + "    battery: yes\n  - ram: 1K\n    at: 9000\n")
    bench.write(0x8000, 0x77)
    bench.write(0x9000, 0x77)
    bench.board.reset()
    assert (bench.read(0x8000), bench.read(0x9000)) == (0x77, 0x77)
    bench.board.power()
    assert (bench.read(0x8000), bench.read(0x9000)) == (0x77, 0x00)


def test_poke() -> None:
    bench = Bench(MINIMAL + "  - ram: 1K\n    at: 8000-87FF\n")
    bench.board.poke(0x0003, 0x21)
    bench.board.poke(0x8403, 0x43)
    assert (bench.read(0x0003), bench.read(0x8003)) == (0x21, 0x43)
    assert not bench.board.store[bench.word(0x8003) & INDEX_MASK] & UNWRITTEN
    with pytest.raises(UserError, match="no memory at address 4000"):
        bench.board.poke(0x4000, 1)
    with pytest.raises(UserError, match="no memory at port 40"):
        bench.board.poke(IO_BASE + 0x40, 1)


def test_an_image_in_a_rom(tmp_path: Path) -> None:
    (tmp_path / "monitor.bin").write_bytes(bytes([1, 2, 3]))
    file = str(tmp_path / "b.yaml")
    text = MINIMAL + "  - rom: 1K\n    name: upper\n    at: 4000\n    image: monitor.bin\n"
    bench = Bench(text, file)
    assert [bench.read(0x4000 + n) for n in range(4)] == [1, 2, 3, 0xFF]
    assert not bench.has(0x4002, MapBit.NOT_CODE) and bench.has(0x4003, MapBit.NOT_CODE)
    (tmp_path / "monitor.bin").write_bytes(bytes(1025))
    with pytest.raises(UserError, match="outside the upper chip"):
        Bench(text, file)
    (tmp_path / "monitor.bin").unlink()
    with pytest.raises(UserError, match=r"b.yaml:7:5: no image file .*monitor.bin"):
        Bench(text, file)
