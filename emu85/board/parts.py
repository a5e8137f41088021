"""Memory parts by number, as the trade orders them.

Capacities as the part numbers state them (the last digits count kilobits):
Intel 2716, 2732A, 2764A, 27128A, 27256 and 27512 EPROM data sheets; Intel 2114A
(1024 x 4) and the industry's 6116 (2048 x 8), 6264 (8192 x 8) and 62256
(32768 x 8) static RAM data sheets.  Values from memory.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Part:
    """A memory part; ``size`` in bytes, ``kind`` is ``rom`` or ``ram``."""

    number: str
    kind: str
    size: int
    about: str


PARTS: dict[str, Part] = {
    part.number: part
    for part in (
        Part("2716", "rom", 2048, "EPROM, 2K x 8"),
        Part("2732", "rom", 4096, "EPROM, 4K x 8"),
        Part("2764", "rom", 8192, "EPROM, 8K x 8"),
        Part("27128", "rom", 16384, "EPROM, 16K x 8"),
        Part("27256", "rom", 32768, "EPROM, 32K x 8"),
        Part("27512", "rom", 65536, "EPROM, 64K x 8"),
        Part("2114 pair", "ram", 1024, "two static RAMs, 1K x 4 each"),
        Part("6116", "ram", 2048, "static RAM, 2K x 8"),
        Part("6264", "ram", 8192, "static RAM, 8K x 8"),
        Part("62256", "ram", 32768, "static RAM, 32K x 8"),
    )
}
