"""What moves the board while it is watched.

A :class:`Drive` is handed the machine at power-on.  A plain run lets board time pass;
anything else that moves a machine and says afterwards how that went can stand in its place.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from emu85.board.quantities import seconds_text
from emu85.machine import Machine


@dataclass(frozen=True, slots=True)
class Driven:
    """How it went.

    Attributes:
        about: what was done, in words.
        failures: what was not as expected, a sentence each.
        expected: findings that are meant, by their ``text``.
    """

    about: str
    failures: Sequence[str] = ()
    expected: Collection[str] = ()


class Drive(Protocol):
    """Moves a machine."""

    def __call__(self, machine: Machine) -> Driven:
        """Move the machine from power-on."""


@dataclass(frozen=True, slots=True)
class PlainRun:
    """Lets time pass, with nobody at the keys and nothing sent to the serial ends."""

    seconds: Fraction

    def __call__(self, machine: Machine) -> Driven:
        """Run for the time, halts included; stops do not hold it for long."""
        end = round(self.seconds * machine.board.clock)
        while machine.t < end:
            machine.run(t_states=end - machine.t, wait=True)
        return Driven(f"{seconds_text(self.seconds)} of board time")
