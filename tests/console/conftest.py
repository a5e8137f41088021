"""What tests of programs in a pseudo-terminal share."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from tests.console.test_terminal import Terminal


@pytest.fixture
def terminals() -> Iterator[list[Terminal]]:
    """Terminals that a test opens; their ends are closed after it."""
    made: list[Terminal] = []
    yield made
    for terminal in made:
        os.close(terminal.master)
