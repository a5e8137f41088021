"""What a device is: registers the CPU reaches, pins that wires reach, deadlines.

A device is one class in one file.  It states its options, registers and pins as
data; the board places the registers in the memory or I/O space, joins the pins
and calls the methods below.  A register is

* published (``Read.PUBLISHED``): its value stands in the board's store, reads
  cost nothing and have no side effect; the device calls ``site.publish``
  whenever the value changes; or
* live (``Read.LIVE``): the device is called for each read; or
* not readable (``Read.NONE``): the bus floats.

Time is the T-state count of ``site.schedule``; a device never polls.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, ClassVar, Protocol

from emu85.board.kinds import Key, Kind
from emu85.board.nodes import Node
from emu85.board.schedule import Schedule
from emu85.errors import UserError


class Read(enum.Enum):
    """How a register answers reads."""

    NONE = "not readable"
    PUBLISHED = "published"
    LIVE = "live"


@dataclass(frozen=True, slots=True)
class Register:
    """One address of a device, counted from its lowest."""

    name: str
    about: str
    read: Read = Read.NONE
    written: bool = False


@dataclass(frozen=True, slots=True)
class Control:
    """Something a hand can do to a device; ``kind`` is None when it takes no value."""

    name: str
    about: str
    kind: Kind[Any] | None = None


class Site(Protocol):
    """What the board gives a device to work with.

    Attributes:
        clock: CPU clock in hertz, exact.
    """

    clock: Fraction

    @property
    def schedule(self) -> Schedule:
        """Board time and deadlines, in T-states."""

    def publish(self, register: int, value: int) -> None:
        """Let reads of a published register find ``value`` (a byte) from now on."""

    def drive(self, pin: str, level: int) -> None:
        """Put an output pin at 0 or 1 as of ``schedule.now``."""


class Device:
    """Base of all devices; override what the device has.

    Class attributes:
        kind: the word after ``device:`` in a board file.
        about: one line for the printed schema.
        options: keys a board file may give.
        registers: in order of address; an instance may set its own, of the same
            length, where an option changes how a register is read.
        outputs, inputs: pin name to description.
        controls: what a hand can do.
    """

    kind: ClassVar[str] = ""
    about: ClassVar[str] = ""
    options: ClassVar[tuple[Key, ...]] = ()
    registers: tuple[Register, ...] = ()
    outputs: ClassVar[Mapping[str, str]] = {}
    inputs: ClassVar[Mapping[str, str]] = {}
    controls: ClassVar[tuple[Control, ...]] = ()
    answers_inta: ClassVar[bool] = False
    """Whether the device puts a byte on the bus in interrupt acknowledge cycles."""

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        """Raise :class:`UserError` without a place for options that do not fit the board."""
        self.name = name
        self.site = site

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        """Raise a located :class:`UserError` for options that do not go together."""

    def power(self) -> None:
        """Power comes on; T-states count from 0 and no deadline is left."""

    def reset(self) -> None:
        """RESET OUT went high."""

    def read(self, register: int) -> int:
        """Answer a read of a live register; side effects happen here."""
        raise NotImplementedError(f"{self.kind} has no live register {register}")

    def peek(self, register: int) -> int:
        """What :meth:`read` would answer, with no side effect."""
        raise NotImplementedError(f"{self.kind} has no live register {register}")

    def write(self, register: int, value: int) -> None:
        """Take a byte written to a register."""

    def sense(self, pin: str, level: int) -> None:
        """An input pin changed to ``level``, or was found there when power came on."""

    def acknowledge(self) -> int:
        """The byte for the interrupt acknowledge cycle that is under way."""
        raise NotImplementedError(f"{self.kind} answers no acknowledge")

    def adjust(self, control: str, value: Any) -> None:
        """A hand works one of ``controls``; ``value`` is of the control's kind."""
        raise NotImplementedError(f"{self.kind} has no control {control}")

    def state(self) -> str:
        """One line on how the device stands, for people."""
        return ""


class Beat:
    """Moments at exact multiples of a period, each rounded to its nearest T-state.

    The rounding never adds up: moment ``n`` is computed from ``n`` alone.
    """

    def __init__(self, period: Fraction) -> None:
        """``period`` in T-states."""
        self._numerator = 2 * period.numerator
        self._denominator = 2 * period.denominator

    def t(self, n: int) -> int:
        """T-states from moment 0 to moment ``n``, half up."""
        return (n * self._numerator + self._denominator // 2) // self._denominator


def at_least_one_t(seconds: Fraction, clock: Fraction, what: str) -> Fraction:
    """A time in T-states, refused if shorter than one."""
    t_states = seconds * clock
    if t_states < 1:
        raise UserError(f"{what} is shorter than a T-state", expected="a longer time")
    return t_states
