"""What all chips of a board hold, as bytes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Contents:
    """The bytes of all chips.

    Attributes:
        store: the board's store, uint16 little-endian.
        programmed: a byte for each entry of the store; 1 where it was burnt or loaded.
    """

    store: bytes
    programmed: bytes
