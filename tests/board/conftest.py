"""A shelf of devices for tests, beside those that the board package has."""

from __future__ import annotations

import pytest

from emu85.board import reader, registry, schema
from tests.board.parts import PARTS


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let board files name the devices of ``tests.board.parts`` too."""
    known = {**registry.devices(), **PARTS}
    monkeypatch.setattr(reader, "devices", lambda: known)
    monkeypatch.setattr(schema, "devices", lambda: known)
