"""Every opcode through assembler and disassembler, against the map written by hand."""

from __future__ import annotations

import pytest

from emu85.firmware import assemble, disassemble

from .opcode_map import FORMS, encoded, written


def test_the_map_is_whole() -> None:
    assert len(FORMS) == len(set(FORMS)) == 256


@pytest.mark.parametrize("opcode", range(256))
def test_assembles(opcode: int) -> None:
    (segment,) = assemble(f"\t{written(opcode, '5AH', '1234H')}\n").image.segments
    assert segment.data == encoded(opcode, 0x5A, 0x1234)


@pytest.mark.parametrize("opcode", range(256))
def test_disassembles_and_back(opcode: int) -> None:
    data = encoded(opcode, 0xFE, 0xC3FE)
    line = disassemble(lambda address: (data + b"\x00\x00")[address - 0x8000], 0x8000)
    assert line.text == written(opcode, "0FEH", "0C3FEH")
    assert (line.address, line.bytes) == (0x8000, data)
    assert line.instruction is not None
    (segment,) = assemble(f" {line.text}").image.segments
    assert segment.data == data


@pytest.mark.parametrize(
    ("alias", "data"), [("JX5 1234H", b"\xfd\x34\x12"), ("JNX5 1234H", b"\xdd\x34\x12")]
)
def test_other_names_in_use(alias: str, data: bytes) -> None:
    # Dehnhardt & Sorensen call the K flag X5 (value from memory).
    assert assemble(f" {alias}").image.segments[0].data == data
