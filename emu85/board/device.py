"""What a device is: registers the CPU reaches, pins that wires reach, deadlines.

A device is one class in one file.  It states its options, registers and pins as
data; the board places the registers in the memory or I/O space, joins the pins
and calls the methods below.  A register is

* published (``Read.PUBLISHED``): its value stands in the board's store, reads
  cost nothing and have no side effect; the device calls ``site.publish``
  whenever the value changes; or
* live (``Read.LIVE``): the device is called for each read; or
* watched (``Read.WATCHED``): published, but while the device asks for it with
  ``site.watch_reads`` it is called as for a live one.  This is for registers that
  are polled for long and whose reads matter now and then, such as a status whose
  error bits a read clears; or
* not readable (``Read.NONE``): the bus floats.

Time is the T-state count of ``site.schedule``; a device never polls.
"""

from __future__ import annotations

import enum
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

from emu85.board.kinds import Key, Kind
from emu85.board.nodes import Node, Table
from emu85.board.schedule import Schedule
from emu85.bus.cycles import Cycle
from emu85.errors import Place, UserError

if TYPE_CHECKING:
    from emu85.board.frames import Frame
    from emu85.board.host import Reached, StopListener
    from emu85.board.serial import Terminal
    from emu85.stops import StopSet


class Read(enum.Enum):
    """How a register answers reads."""

    NONE = "not readable"
    PUBLISHED = "published"
    LIVE = "live"
    WATCHED = "watched"


@dataclass(frozen=True, slots=True)
class Register:
    """One address of a device, counted from its lowest.

    Attributes:
        kept: it is written, never read, and a byte written to it does nothing but stay
            there, so that the device need not be told: it asks ``Site.kept``.
    """

    name: str
    about: str
    read: Read = Read.NONE
    written: bool = False
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Control:
    """Something a hand can do to a device; ``kind`` is None when it takes no value."""

    name: str
    about: str
    kind: Kind[Any] | None = None


@dataclass(frozen=True, slots=True)
class MemoryPart:
    """Memory in one package with a device's registers.

    ``size`` in bytes; ``kind`` is ``rom`` or ``ram``.  The board decodes it, burns
    images into it and keeps its bytes, as it does for any memory chip.
    """

    size: int
    kind: str


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

    def kept(self, register: int) -> int:
        """The byte written last to a kept register."""

    def keep(self, register: int, value: int) -> None:
        """Put a byte into a kept register."""

    def watch_reads(self, register: int, on: bool) -> None:
        """Have :meth:`Device.read` called for reads of a watched register, or no longer.

        What it answers must then be what is published, or will be once it returns.
        """

    def drive(self, pin: str, level: int) -> None:
        """Put an output pin at 0 or 1 as of ``schedule.now``; a clock on it stops."""

    def release(self, pin: str) -> None:
        """Let an output pin go (high impedance) as of ``schedule.now``."""

    def is_wired(self, pin: str) -> bool:
        """Whether a wire reaches a pin, one way or the other."""

    def drive_clock(
        self,
        pin: str,
        period: Fraction | None,
        start_t: Fraction | int,
        high: Fraction | None = None,
    ) -> None:
        """Put a square wave on an output pin, or stop it where it is.

        Args:
            pin: an output.
            period: exact, in T-states; None stops the wave at the level it has now.
            start_t: moment of a rising edge, exact, in T-states.  If it is past, the wave
                has run since; if it is to come, the pin keeps its level till then.
            high: how long each period is high, half of it if left out.
        """

    def send_frame(self, pin: str, frame: Frame) -> None:
        """Begin to send a character on a pin of ``frame_outputs``; now is its start."""

    def reached(self, kind: Cycle, address: int) -> Reached:
        """What a bus cycle at an address, or a port, finds; see ``Host.reached``."""

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None = None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        """One bus cycle as the bus master, while HLDA is high; see ``Host.transfer``."""

    def note(self, description: str, where: str) -> None:
        """Count a finding that is no bus cycle's; see ``Host.note``."""

    @property
    def stops(self) -> StopSet:
        """The machine's stops."""

    @property
    def stop_listeners(self) -> list[StopListener]:
        """Called with every stop that hits; add to it when power comes on, once."""

    def hold(self) -> None:
        """Have the machine hold soon."""

    def pace(self, steps: int) -> None:
        """Have the machine paced by so many machine cycles a second, to be read by eye."""

    def full_speed(self) -> None:
        """End the pace."""


RTS = "rts"
"""The output that is low while a device wants characters from its terminal."""


class Device:
    """Base of all devices; override what the device has.

    Class attributes:
        kind: the word after ``device:`` in a board file.
        about: one line for the printed schema.
        options: keys a board file may give.
        registers: in order of address; an instance may set its own, of the same
            length, where an option changes how a register is read.
        outputs, inputs: pin name to description; a pin in both is bidirectional
            and is let go when power comes on.
        open_collector: outputs that may share a wire; low wins.
        clock_inputs: inputs that reckon with a clock (:meth:`sense_clock`).
        frame_inputs, frame_outputs: pins of an asynchronous line, which take and
            give whole characters (:meth:`sense_frame`, ``site.send_frame``).
        serial_pins: the frame input and output that a terminal may be put at; the
            board file then takes ``terminal:`` and ``self.terminal`` is it.  Such a
            device also has :data:`RTS`.
        memory_part: memory in the same package.
        controls: what a hand can do.

    Clock inputs and frame pins need not be listed as inputs and outputs again.  An
    input that no wire reaches is never told of anything.
    """

    kind: ClassVar[str] = ""
    about: ClassVar[str] = ""
    options: ClassVar[tuple[Key, ...]] = ()
    registers: tuple[Register, ...] = ()
    outputs: ClassVar[Mapping[str, str]] = {}
    inputs: ClassVar[Mapping[str, str]] = {}
    open_collector: ClassVar[frozenset[str]] = frozenset()
    clock_inputs: ClassVar[Mapping[str, str]] = {}
    frame_inputs: ClassVar[Mapping[str, str]] = {}
    frame_outputs: ClassVar[Mapping[str, str]] = {}
    serial_pins: ClassVar[tuple[str, str] | None] = None
    memory_part: ClassVar[MemoryPart | None] = None
    controls: ClassVar[tuple[Control, ...]] = ()
    answers_inta: ClassVar[bool] = False
    """Whether the device puts a byte on the bus in interrupt acknowledge cycles."""

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        """Raise :class:`UserError` without a place for options that do not fit the board."""
        self.name = name
        self.site = site
        self.terminal: Terminal | None = None

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        """Raise a located :class:`UserError` for options that do not go together."""

    @classmethod
    def sinks(cls) -> dict[str, str]:
        """Every pin that a wire may drive, with its description."""
        return {**cls.inputs, **cls.clock_inputs, **cls.frame_inputs}

    @classmethod
    def sources(cls) -> dict[str, str]:
        """Every pin that may drive a wire, with its description."""
        return {**cls.outputs, **cls.frame_outputs}

    def power(self) -> None:
        """Power comes on; T-states count from 0 and no deadline is left."""

    def reset(self) -> None:
        """RESET OUT went high."""

    def read(self, register: int) -> int:
        """Answer a read of a live or watched register; side effects happen here."""
        raise NotImplementedError(f"{self.kind} has no live register {register}")

    def peek(self, register: int) -> int:
        """What :meth:`read` would answer, with no side effect."""
        raise NotImplementedError(f"{self.kind} has no live register {register}")

    def write(self, register: int, value: int) -> None:
        """Take a byte written to a register."""

    def sense(self, pin: str, level: int) -> None:
        """An input pin changed to ``level``, or was found there when power came on."""

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        """A clock input gets a square wave, or it stops.

        Args:
            pin: one of ``clock_inputs``.
            period: exact, in T-states; None: the wave stopped at ``start_t``, which
                is now, at the level it had (no :meth:`sense` follows; later ones
                are edges).
            start_t: moment of a rising edge, exact, in the past or to come.
            high: how long each period is high, in T-states.
        """

    def sense_frame(self, pin: str, frame: Frame) -> None:
        """A character begins at a frame input."""

    def acknowledge(self) -> int | None:
        """The byte for the interrupt acknowledge cycle that is under way.

        Every device of ``answers_inta`` is asked in every such cycle, in order of
        the board file; None leaves the bus to the others.
        """
        raise NotImplementedError(f"{self.kind} answers no acknowledge")

    def adjust(self, control: str, value: Any) -> None:
        """A hand works one of ``controls``; ``value`` is of the control's kind."""
        raise NotImplementedError(f"{self.kind} has no control {control}")

    def pace_ended(self) -> None:
        """The user has ended the pace that was asked for."""

    def state(self) -> str:
        """One line on how the device stands, for people."""
        return ""


class OptionError(UserError):
    """A mistake that a device found in one of its options, to be placed there."""

    option = ""

    def node(self, entry: Node) -> Node:
        """Where the device's entry gives the option, or the entry."""
        return entry.values.get(self.option, entry) if isinstance(entry, Table) else entry


@contextmanager
def of_option(option: str) -> Iterator[None]:
    """Mistakes found in the block that have no place are the option's.

    Raises:
        OptionError: such a mistake.
    """
    try:
        yield
    except UserError as error:
        if error.place != Place():
            raise
        found = OptionError(error.message, expected=error.expected, nearest=error.nearest)
        found.option = option
        raise found from None


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
