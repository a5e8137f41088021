"""What moves the board while it is watched.

A :class:`Drive` is handed the machine at power-on and a function to be called between
motions.  A plain run lets board time pass; anything else that moves a machine and says
afterwards how that went can stand in its place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from emu85.board.quantities import seconds_text
from emu85.machine import Machine
from emu85.profile import longest_slice


@dataclass(frozen=True, slots=True)
class Driven:
    """How it went.

    Attributes:
        about: what was done, in words.
        failures: what was not as expected, a sentence each.
    """

    about: str
    failures: Sequence[str] = ()


class Drive(Protocol):
    """Moves a machine."""

    def __call__(self, machine: Machine, look: Callable[[], None]) -> Driven:
        """Move the machine from power-on.

        Args:
            look: to be called while the machine rests, before more T-states have passed
                than :func:`emu85.profile.longest_slice` gives.
        """


@dataclass(frozen=True, slots=True)
class PlainRun:
    """Lets time pass, with nobody at the keys and nothing sent to the serial ends."""

    seconds: Fraction

    def __call__(self, machine: Machine, look: Callable[[], None]) -> Driven:
        """Run for the time, halts included; stops do not hold it for long."""
        end = round(self.seconds * machine.board.clock)
        while machine.t < end:
            machine.run(t_states=min(longest_slice(machine), end - machine.t), wait=True)
            look()
        return Driven(f"{seconds_text(self.seconds)} of board time")
