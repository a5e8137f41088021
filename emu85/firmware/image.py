"""Firmware as the board takes it: bytes at addresses, with what is known about them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

SPACE = 0x10000
"""Bytes an 8085 can address."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A run of bytes without a gap.

    Attributes:
        start: address of the first byte, 0 to FFFF.
        data: at least one byte; the last stands at FFFF or below.
    """

    start: int
    data: bytes

    def __post_init__(self) -> None:
        if not self.data:
            raise ValueError("a segment holds at least one byte")
        if self.start < 0 or self.end > SPACE:
            raise ValueError(f"segment {self.start:X} to {self.end - 1:X} leaves 0000-FFFF")

    @property
    def end(self) -> int:
        """The address after the last byte, at most 10000H."""
        return self.start + len(self.data)


@dataclass(frozen=True, slots=True)
class SourceLine:
    """One line of source; ``line`` counts from 1."""

    file: str
    line: int
    text: str


def _no_symbols() -> Mapping[str, int]:
    return {}


def _no_lines() -> Mapping[int, SourceLine]:
    return {}


Run = tuple[int, int]
"""Addresses without a gap: the first, and the one after the last."""


@dataclass(frozen=True, slots=True)
class Image:
    """What a HEX file, a binary or an assembly gives.

    Attributes:
        segments: sorted by address, never overlapping.
        symbols: values by name, as spelled in the source; labels come before
            equated names, so that the first name of a value is the best one.
        equated: those names in ``symbols`` that stand for a value (EQU, SET) and
            not for a place in memory.
        runs: where the source put or reserved (DS) bytes, sorted; the segments'
            own unless given.
        lines: the source line whose first byte stands at an address.
        entry: the start address the file states, or None.
        source: file name for messages.

    Raises:
        ValueError: segments out of order or overlapping.
    """

    segments: tuple[Segment, ...]
    symbols: Mapping[str, int] = field(default_factory=_no_symbols)
    lines: Mapping[int, SourceLine] = field(default_factory=_no_lines)
    entry: int | None = None
    source: str = ""
    equated: frozenset[str] = frozenset()
    runs: tuple[Run, ...] = ()

    def __post_init__(self) -> None:
        for before, after in zip(self.segments, self.segments[1:], strict=False):
            if after.start < before.end:
                raise ValueError(f"segments overlap or are out of order at {after.start:04X}")
        object.__setattr__(self, "symbols", MappingProxyType(dict(self.symbols)))
        object.__setattr__(self, "lines", MappingProxyType(dict(self.lines)))
        segments = ((segment.start, segment.end) for segment in self.segments)
        object.__setattr__(self, "runs", self.runs or joined(segments))

    @property
    def span(self) -> tuple[int, int]:
        """Lowest and highest address that holds a byte.

        Raises:
            ValueError: the image is empty.
        """
        if not self.segments:
            raise ValueError("an empty image has no span")
        return self.segments[0].start, self.segments[-1].end - 1

    @property
    def size(self) -> int:
        """Bytes held, gaps not counted."""
        return sum(len(segment.data) for segment in self.segments)

    def bytes_at(self, start: int, length: int, fill: int = 0xFF) -> bytes:
        """``length`` bytes from ``start``, gaps holding ``fill`` (FF: an erased EPROM)."""
        out = bytearray([fill]) * length
        for segment in self.segments:
            low = max(start, segment.start)
            high = min(start + length, segment.end)
            if low < high:
                piece = segment.data[low - segment.start : high - segment.start]
                out[low - start : high - start] = piece
        return bytes(out)


def joined(runs: Iterable[Run]) -> tuple[Run, ...]:
    """The same addresses in as few runs as possible, in order."""
    out: list[Run] = []
    for start, end in sorted(runs):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return tuple(out)


def segments_of(cells: Mapping[int, int]) -> tuple[Segment, ...]:
    """The runs of bytes in ``cells``, a byte by address."""
    segments: list[Segment] = []
    start = 0
    run = bytearray()
    for address in sorted(cells):
        if run and address != start + len(run):
            segments.append(Segment(start, bytes(run)))
            run = bytearray()
        if not run:
            start = address
        run.append(cells[address])
    if run:
        segments.append(Segment(start, bytes(run)))
    return tuple(segments)
