"""All that the checks look at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from emu85.board.parts import Part
from emu85.burn.chips import Programmed
from emu85.burn.ground import Ground
from emu85.burn.places import Places
from emu85.burn.ride import Ride
from emu85.burn.sums import Sum
from emu85.burn.survey import Survey


@dataclass(frozen=True, slots=True)
class Stored:
    """A sum that the image holds at an address, low byte first, of all before it.

    The sum is over the chip's bytes from its first up to that address.
    """

    sum: Sum
    address: int


@dataclass(frozen=True, slots=True)
class Limits:
    """What the user asks of the run; None for nothing.

    Attributes:
        coverage: percent of the code's bytes that must be executed, at least.
        wait: T-states that an interrupt may wait, at most.
        left: bytes that must be left of a stack, at least.
    """

    coverage: Fraction | None = None
    wait: int | None = None
    left: int | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the user says of an image to burn.

    Attributes:
        part: the EPROM; None for what the board has.
        parts: EPROMs of chips that have one of their own, by their names on the board.
        halves: even and odd bytes go into two of them.
        fill: of bytes that the image does not give.
        stored, expected: sums to be found; expected ones by their words, or by ``CHIP:word``
            where one is of one chip to burn.
        limits: asked of the run.
        accepted: names of checks whose faults are meant.
    """

    part: Part | None = None
    halves: bool = False
    fill: int = 0xFF
    stored: Sequence[Stored] = ()
    expected: Mapping[str, int] = field(default_factory=dict)
    limits: Limits = field(default_factory=Limits)
    accepted: frozenset[str] = frozenset()
    parts: Mapping[str, Part] = field(default_factory=dict)

    def part_for(self, chip: str) -> Part | None:
        """The EPROM that the user says a chip of the board to be."""
        return self.parts.get(chip, self.part)


@dataclass(frozen=True, slots=True)
class Study:
    """``chips`` are the whole chips; ``burnt`` what is burnt, halves split."""

    wanted: Wanted
    ground: Ground
    chips: Sequence[Programmed]
    burnt: Sequence[Programmed]
    places: Places
    survey: Survey
    ride: Ride | None
