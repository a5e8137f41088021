"""What each byte of the image is for: code, data, never reached, blank."""

from __future__ import annotations

import enum
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from emu85.burn.study import Study
from emu85.bus.cycles import Cycle
from emu85.isa import INSTRUCTIONS, Operand
from emu85.stretches import of_true

_LONGEST_BLANK = 16
"""Bytes FF in a row that the image may hold and still mean them."""


class Use(enum.IntEnum):
    """Of a byte in an EPROM."""

    BLANK = 0
    """Not given by the image, or one of many FF in a row."""
    UNREACHED = 1
    """Neither reached as code nor told to be data."""
    DATA = 2
    """Read in the run, or pointed at by an instruction."""
    CODE = 3


WORDS = {
    Use.BLANK: "blank",
    Use.UNREACHED: "never reached",
    Use.DATA: "data",
    Use.CODE: "code",
}


@dataclass(frozen=True, slots=True)
class Area:
    """A stretch of addresses with one use, both ends included; ``symbol`` may be empty."""

    low: int
    high: int
    use: Use
    symbol: str = ""

    @property
    def size(self) -> int:
        """Bytes."""
        return self.high - self.low + 1


def areas(study: Study) -> Sequence[Area]:
    """The address ranges of the chips to burn, cut where the use changes."""
    uses = _uses(study)
    found: list[Area] = []
    for chip in study.chips:
        stretch = uses[chip.low : chip.high + 1]
        edges = [0, *(np.flatnonzero(np.diff(stretch)) + 1).tolist(), len(stretch)]
        for start, end in pairwise(edges):
            found.append(Area(chip.low + start, chip.low + end - 1, Use(int(stretch[start]))))
    return found


def _uses(study: Study) -> np.ndarray[tuple[int], np.dtype[np.int8]]:
    ground = study.ground
    uses = np.full(0x10000, Use.BLANK, np.int8)
    for segment in ground.burnt.segments:
        uses[ground.home[segment.start : segment.end]] = Use.UNREACHED
    _take_out_erased(study, uses)
    for low, high in _data(study):
        homes = ground.home[low : high + 1]
        uses[homes[uses[homes] == Use.UNREACHED]] = Use.DATA
    code = sorted(study.survey.covered | study.survey.seen)
    uses[ground.home[code]] = Use.CODE
    return uses


def _take_out_erased(study: Study, uses: np.ndarray[tuple[int], np.dtype[np.int8]]) -> None:
    for segment in study.ground.burnt.segments:
        data = np.frombuffer(segment.data, np.uint8)
        for start, end in of_true(data == 0xFF):
            if end - start >= _LONGEST_BLANK:
                uses[study.ground.home[segment.start + start : segment.start + end]] = Use.BLANK


def _data(study: Study) -> Iterator[tuple[int, int]]:
    """Stretches that are data, code in them left in."""
    if study.ride is not None:
        for at in np.flatnonzero(study.ride.execution.reads).tolist():
            yield at, at
    pointed = _pointed_at(study)
    ends = sorted({*pointed, *study.places.labels, *study.survey.covered})
    for at in pointed:
        place = bisect_right(ends, at)
        limit = ends[place] - 1 if place < len(ends) else 0xFFFF
        last = at
        while last < limit and study.ground.is_held(last + 1):
            last += 1
        yield at, last


def _pointed_at(study: Study) -> set[int]:
    """Addresses in 16-bit operands, and known addresses of reads, that the image holds."""
    found = set()
    for at in study.survey.facts.starts:
        one = INSTRUCTIONS[study.ground.bytes[at]]
        if Operand.D16 in one.operands:
            found.add(int.from_bytes(study.ground.bytes[at + 1 : at + 3], "little"))
    for touch in study.survey.facts.touches:
        if touch.access.kind is Cycle.MR and touch.access.address is not None:
            found.add(touch.access.address)
    return {at for at in found if study.ground.is_held(at)}
