"""Addresses as people know them: the nearest label, and the line of the source."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Mapping
from pathlib import Path

from emu85.firmware import Image

_FARTHEST = 0x1000
"""A label farther away tells nothing."""


class Places:
    """Names for the addresses of an image.

    Args:
        symbols, equated: names, and those of them that are no place.

    Attributes:
        labels: the first name of a place, by address.
        named: the symbols as given.
    """

    def __init__(self, image: Image, symbols: Mapping[str, int], equated: Collection[str]) -> None:
        self._image = image
        self.labels: dict[int, str] = {}
        for name, value in symbols.items():
            if name not in equated:
                self.labels.setdefault(value, name)
        self.named = symbols
        self._addresses = sorted(self.labels)
        self._lines = sorted(image.lines)
        self._runs = image.runs

    def symbol(self, address: int) -> str:
        """``WALK+3``, or nothing if no label is near in the same run of bytes."""
        place = bisect_right(self._addresses, address) - 1
        if place < 0:
            return ""
        base = self._addresses[place]
        if address - base > _FARTHEST or not self._joined(base, address):
            return ""
        return self.labels[base] + (f"+{address - base:X}" if address > base else "")

    def line(self, address: int) -> str:
        """``slate.asm:61``, the line that put the byte there, if the source is known."""
        place = bisect_right(self._lines, address) - 1
        if place < 0 or not self._joined(self._lines[place], address):
            return ""
        source = self._image.lines[self._lines[place]]
        return f"{Path(source.file).name}:{source.line}"

    def _joined(self, low: int, high: int) -> bool:
        return any(start <= low and high < end for start, end in self._runs)
