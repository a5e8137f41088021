"""Whatever bytes an image has, the check comes to an end and tells something."""

from __future__ import annotations

import json
import random
from fractions import Fraction

import pytest

from emu85.board import BoardDescription, load_board, read_board
from emu85.burn import (
    PlainRun,
    Subject,
    Wanted,
    report,
    study,
    write_json,
    write_page,
    write_text,
)
from emu85.firmware import Image, Segment
from emu85.isa import INSTRUCTIONS, Operand
from tests.burn.bench import BOARD

WITH_ADDRESS = [one.opcode for one in INSTRUCTIONS if Operand.ADDR in one.operands]
OTHERS = [0xC9, 0xC0, 0xE9, 0xE5, 0xE1, 0xF1, 0xF5, 0xE3, 0xF9, 0x76, 0xFB, 0x30, 0xFF, 0x31, 0x21]


def tangle(source: random.Random, size: int) -> bytes:
    """Instructions that go all over the image: calls, jumps, returns, pushes."""
    data = bytearray()
    while len(data) < size:
        if source.random() < 0.6:
            target = source.randrange(size)
            data += bytes([source.choice(WITH_ADDRESS), target & 0xFF, target >> 8])
        else:
            data.append(source.choice(OTHERS))
    return bytes(data[:size])


def board_of(source: random.Random) -> BoardDescription:
    name = source.choice(["bench", "gantry", "saltmarsh", "slate"])
    return read_board(BOARD, "bench.yaml") if name == "bench" else load_board(name)


@pytest.mark.parametrize("seed", range(24))
def test_any_bytes(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("emu85.burn.flow.MOST_STEPS", 5000)
    source = random.Random(seed)
    size = source.choice([1, 3, 300, 2048, 8192])
    data = tangle(source, size) if seed % 2 else source.randbytes(size)
    start = source.choice([0, 0, 0, 5, 0x7000, 0x10000 - size])
    image = Image((Segment(start, data),), source="any.bin")
    drive = PlainRun(Fraction(1, 100)) if seed % 3 else None
    found = report(study(Subject(image, board_of(source), drive=drive), Wanted()))
    assert found.verdict
    assert max(map(len, write_text(found).splitlines())) <= 80
    assert json.loads(write_json(found))["verdict"] == found.verdict
    assert found.verdict in write_page(found)
