"""The bytes an assembly puts into memory."""

from __future__ import annotations

from emu85.errors import Place, UserError
from emu85.firmware.image import SPACE, Run, Segment, SourceLine, joined, segments_of
from emu85.wording import counted


class Memory:
    """Bytes by address with the line that put them there; nothing is put twice."""

    def __init__(self) -> None:
        self._cells: dict[int, int] = {}
        self._owners: dict[int, Place] = {}
        self._reserved: list[Run] = []
        self.lines: dict[int, SourceLine] = {}

    def put(self, address: int, data: bytes, line: SourceLine, column: int) -> None:
        """Place the bytes of one line; the caller has seen to it that they end by FFFF.

        Raises:
            UserError: an address already holds a byte.
        """
        if not data:
            return
        place = Place(line.file, line.line)
        for cell, byte in enumerate(data, address):
            if cell in self._owners:
                raise UserError(
                    f"address {cell:04X} already has a byte from {self._owners[cell]}",
                    Place(column=column),
                    expected="an ORG that leaves earlier bytes alone",
                )
            self._owners[cell] = place
            self._cells[cell] = byte
        self.lines[address] = line

    def reserve(self, start: int, count: int) -> None:
        """Note that ``count`` bytes from ``start`` on are kept free for data."""
        self._reserved.append((start, start + count))

    def runs(self) -> tuple[Run, ...]:
        """Where bytes are, or are reserved."""
        filled = ((segment.start, segment.end) for segment in self.segments())
        return joined((*filled, *self._reserved))

    def segments(self) -> tuple[Segment, ...]:
        """The runs of bytes."""
        return segments_of(self._cells)


def advance(location: int, count: int, column: int) -> int:
    """The location counter ``count`` bytes on, at most 10000H.

    Raises:
        UserError: it would pass that.
    """
    if location + count > SPACE:
        place = "the end" if location == SPACE else f"{location:04X}"
        raise UserError(
            f"{counted(count, 'byte')} at {place} {'runs' if count == 1 else 'run'} past FFFF",
            Place(column=column),
            expected=f"at most {SPACE - location}",
        )
    return location + count
