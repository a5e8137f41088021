"""What RAM holds when power comes on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.board.description import Fill


def power_on_bytes(fill: Fill, chip: int, size: int) -> NDArray[np.uint8]:
    """The bytes of the board's ``chip``-th memory chip; each chip has its own random ones."""
    if fill.way == "random":
        return random_bytes(fill.value + chip, size)
    return np.full(size, fill.value, dtype=np.uint8)


def random_bytes(seed: int, count: int) -> NDArray[np.uint8]:
    """Bytes that depend on the seed alone, on every machine and version.

    SplitMix64: Steele, Lea and Flood, "Fast splittable pseudorandom number
    generators", OOPSLA 2014 (constants from memory); the top byte of each output.
    """
    steps = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = np.uint64(seed) + steps
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((mixed ^ (mixed >> np.uint64(31))) >> np.uint64(56)).astype(np.uint8)
