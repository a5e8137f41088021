"""Sizes as people write them."""

from __future__ import annotations

import pytest

from emu85.board.quantities import size_text


@pytest.mark.parametrize(
    ("size", "text"), [(1, "1 byte"), (2, "2 bytes"), (1000, "1000 bytes"), (2048, "2K")]
)
def test_size_text(size: int, text: str) -> None:
    assert size_text(size) == text
