"""8155 and 8156: 256 bytes of RAM, three ports and a 14-bit timer in one package.

Data sheet: Intel 8155/8156/8155-2/8156-2 2048-bit static MOS RAM with I/O ports and
timer.  Values from memory.

Modelled: the RAM; the command and status register; ports A and B, plain and strobed,
with the lines BF, STB and INTR of ALT 3 and ALT 4 on port C, which begin as the data
sheet's table of control signals has them: BF low, INTR low for an input and high for an
output, whose buffer is empty and asks for its first byte; port C in ALT 1 to 4; an
output latch that is held at 0 while its port is an input; the timer with its four
modes, the commands STOP, STOP AFTER TC and START, a new length or mode that is only
taken at a START, the TC bit of the status, the count as the registers hold it (it
goes down by twos, twice a cycle), and RESET, which stops the count and makes all
ports inputs.  The 8156 differs in the polarity of its chip enable, which the board
file's addresses stand for.

Not modelled: propagation delays (at most 0.4 us: here outputs follow at once).
Choices, where the data sheet is silent: the timer counts rising edges of TIMER IN and
the first one after a START counts; the TC bit is set when the last count begins; TIMER
OUT is high before the first START, and a STOP or RESET leaves it as it is; an odd
length N has (N + 1)/2 counts in its first half, of which the first and second show
one register value; a length of 1 does not start the timer, 0 counts 16384; INTR is
low while its enable bit is 0; status bit 7 and bits 6 and 7 of port C read as 0;
BF is moved by the falling edge of STB; a command that changes nothing about a port
leaves its handshake alone.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, MemoryPart, Read, Register, Site
from emu85.board.port_pins import PortPins
from emu85.board.schedule import Event, nearest_t
from emu85.board.square_wave import SquareWave

COMMAND, A, B, C, TIMER_LOW, TIMER_HIGH = range(6)

TC_STATUS = 0x40
LENGTH_BITS = 14
FULL = 1 << LENGTH_BITS

WIDTHS = (("a", 8), ("b", 8), ("c", 6))

ALTS = {0b00: 1, 0b11: 2, 0b01: 3, 0b10: 4}
"""ALT number of port C by bits 3 and 2 of the command."""
ALT_OUTPUTS = {1: 0, 2: 0x3F, 3: 0x38, 4: 0}
"""Plain outputs of port C by ALT number."""


class TimerCommand(enum.IntEnum):
    """Bits 7 and 6 of the command."""

    NONE = 0
    STOP = 1
    STOP_AFTER_TC = 2
    START = 3


class Timer:
    """The count, told how many edges came at TIMER IN.

    Attributes:
        written: the count length register: bits 15 and 14 are the mode.
        length: counts of the cycle under way; 0 before the first START.
        pulse: the mode gives a pulse, not a square wave.
        repeats: the mode reloads at the terminal count.
        done: counts done of the cycle under way.
        running: whether edges count.
        pending: what is to happen when the cycle ends.
        reached: the terminal count was reached since the status was read.
    """

    def __init__(self) -> None:
        self.written = 0
        self.length = 0
        self.pulse = self.repeats = False
        self.done = 0
        self.running = False
        self.pending = TimerCommand.NONE
        self.reached = False

    def command(self, command: TimerCommand) -> None:
        """Obey the timer's part of a command."""
        if command is TimerCommand.STOP:
            self.stop()
        elif self.running and command is not TimerCommand.NONE:
            self.pending = command
        elif command is TimerCommand.START:
            self._load()

    def stop(self) -> None:
        """Stop the count where it is."""
        self.running = False
        self.pending = TimerCommand.NONE

    def count(self, edges: int) -> None:
        """Let edges come at TIMER IN."""
        while edges and self.running:
            left = self.length - self.done
            step = min(edges, left)
            if self.done < self.length - 1 <= self.done + step:
                self.reached = True
            self.done += step
            edges -= step
            if step == left:
                self._end_cycle()
                edges = self._skip_cycles(edges)

    def out(self) -> int:
        """Level of TIMER OUT."""
        if self.done >= self.length:
            return 1
        return int(self.done < self.high_counts)

    @property
    def high_counts(self) -> int:
        """How many counts of a cycle TIMER OUT is high; they come first."""
        return self.length - 1 if self.pulse else (self.length + 1) // 2

    @property
    def steady(self) -> bool:
        """Whether the cycle under way will be followed by others like it without end."""
        return self.running and self.repeats and self.pending is TimerCommand.NONE

    def next_change(self) -> int:
        """Edges until TIMER OUT changes or the cycle ends; the timer is running."""
        end = self.high_counts if self.done < self.high_counts else self.length
        return end - self.done

    def shown(self) -> int:
        """The count and mode registers as they are read, high byte first."""
        if not self.length:
            return 0
        first_half = (self.length + 1) // 2
        if self.done < first_half:
            odd = self.length & 1
            left = self.length // 2 - max(0, self.done - odd)
        else:
            left = max(1, self.length - self.done)
        mode = (self.pulse << 1 | self.repeats) << LENGTH_BITS
        return mode | (left << 1 | (self.done < first_half)) & FULL - 1

    def _load(self) -> None:
        length = self.written & FULL - 1 or FULL
        self.pending = TimerCommand.NONE
        self.running = length > 1
        self.length = length
        self.pulse = bool(self.written >> 15)
        self.repeats = bool(self.written >> 14 & 1)
        self.done = 0

    def _end_cycle(self) -> None:
        if self.pending is TimerCommand.START:
            self._load()
        elif self.pending is TimerCommand.STOP_AFTER_TC or not self.repeats:
            self.stop()
        else:
            self.done = 0

    def _skip_cycles(self, edges: int) -> int:
        """The edges that are left after as many whole cycles as they make."""
        if not self.steady or edges < self.length:
            return edges
        self.reached = True
        return edges % self.length


class Port:
    """Port A or B.

    Attributes:
        is_output: its direction.
        strobed: whether it has lines on port C.
        enabled: interrupt enable.
        out: output latch, 0 while an input.
        held: input latch.
        full: level of BF.
        stb: level of STB.
    """

    def __init__(self) -> None:
        self.is_output = self.strobed = False
        self.enabled = 0
        self.out = self.held = self.full = 0
        self.stb = 1

    def set_mode(self, *, is_output: bool, strobed: bool, enabled: int) -> None:
        """Obey a command; a change of direction or kind starts the handshake afresh."""
        if (is_output, strobed) != (self.is_output, self.strobed):
            self.full = 0
        if not is_output:
            self.out = 0
        self.is_output, self.strobed, self.enabled = is_output, strobed, enabled

    @property
    def intr(self) -> int:
        """Level of INTR."""
        ready = self.strobed and self.stb and self.full != self.is_output
        return int(bool(ready and self.enabled))

    def strobe(self, level: int) -> None:
        """STB changed."""
        self.stb = level
        if self.strobed and not level:
            self.full = 0 if self.is_output else 1


class Combo8155(Device):
    """The registers and pins; the board keeps the RAM."""

    kind = "8155"
    about = "8155: RAM of 256 bytes, three ports and a 14-bit timer"
    registers = (
        Register("command", "write: command; read: status", Read.LIVE, written=True),
        Register("port A", "bits on pa0-pa7", Read.LIVE, written=True),
        Register("port B", "bits on pb0-pb7", Read.LIVE, written=True),
        Register("port C", "bits 0-5 on pc0-pc5", Read.LIVE, written=True),
        Register("timer low", "write: bits 0-7 of the length; read: of the count", Read.LIVE, True),
        Register("timer high", "bits 8-13 and, in bits 6 and 7, the mode", Read.LIVE, True),
        Register("none", "not decoded"),
        Register("none", "not decoded"),
    )
    _ports: ClassVar[Mapping[str, str]] = {
        **{f"p{port}{bit}": f"port {port.upper()}, bit {bit}" for port in "ab" for bit in range(8)},
        **{f"pc{bit}": f"port C, bit {bit}" for bit in range(6)},
    }
    outputs: ClassVar[Mapping[str, str]] = {**_ports, "timerout": "TIMER OUT"}
    inputs: ClassVar[Mapping[str, str]] = _ports
    clock_inputs: ClassVar[Mapping[str, str]] = {"timerin": "TIMER IN; rising edges count"}
    memory_part = MemoryPart(256, "ram")

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._start_cold()

    def _start_cold(self) -> None:
        self._ab = (Port(), Port())
        self._alt = 1
        self._out_c = 0
        self._pins = {"a": 0xFF, "b": 0xFF, "c": 0x3F}
        self._out = {letter: PortPins(self.site, letter, width) for letter, width in WIDTHS}
        self.timer = Timer()
        self._timer_in = 0
        self._clock: SquareWave | None = None
        self._seen = 0
        self._next: Event | None = None

    def power(self) -> None:
        self._start_cold()
        self.reset()

    def reset(self) -> None:
        self._count()
        self.timer.stop()
        self.timer.reached = False
        for port in self._ab:
            port.full = 0
        self._set_ports(0)
        self._show_timer()

    # --- the bus ----------------------------------------------------------------

    def peek(self, register: int) -> int:
        if register == COMMAND:
            return self._status()
        if register in (A, B):
            return self._port_value(register)
        if register == C:
            return self._value_c()
        self._count()
        return self.timer.shown() >> (8 if register == TIMER_HIGH else 0) & 0xFF

    def read(self, register: int) -> int:
        value = self.peek(register)
        if register == COMMAND:
            self.timer.reached = False
        elif register in (A, B):
            port = self._ab[register - A]
            if port.strobed and not port.is_output:
                port.full = 0
                self._show()
        return value

    def write(self, register: int, value: int) -> None:
        if register == COMMAND:
            self._set_ports(value)
            self._command_timer(TimerCommand(value >> 6))
        elif register == TIMER_LOW:
            self.timer.written = self.timer.written & 0xFF00 | value
        elif register == TIMER_HIGH:
            self.timer.written = self.timer.written & 0xFF | value << 8
        else:
            self._write_port(register, value)
            self._show()

    def _write_port(self, register: int, value: int) -> None:
        if register == C:
            self._out_c = value & ALT_OUTPUTS[self._alt]
            return
        port = self._ab[register - A]
        if port.is_output:
            port.out = value
            port.full = int(port.strobed)

    def _set_ports(self, command: int) -> None:
        self._alt = ALTS[command >> 2 & 3]
        self._out_c &= ALT_OUTPUTS[self._alt]
        for index, port in enumerate(self._ab):
            port.set_mode(
                is_output=bool(command >> index & 1),
                strobed=self._alt >= 3 + index,
                enabled=command >> 4 + index & 1,
            )
            port.stb = self._pins["c"] >> 3 * index + 2 & 1
        self._show()

    def _status(self) -> int:
        self._count()
        value = TC_STATUS if self.timer.reached else 0
        for index, port in enumerate(self._ab):
            value |= (port.intr | port.full << 1 | port.enabled << 2) << 3 * index
        return value

    def _port_value(self, register: int) -> int:
        port = self._ab[register - A]
        if port.is_output:
            return port.out
        return port.held if port.strobed else self._pins["ab"[register - A]]

    def _value_c(self) -> int:
        mask, value = self._drives_c()
        return value | self._pins["c"] & ~mask

    # --- the port pins ----------------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        if pin == "timerin":
            self._plain_edge(level)
            return
        letter, bit = pin[1], int(pin[2])
        self._pins[letter] = self._pins[letter] & ~(1 << bit) | level << bit
        if letter == "c" and bit % 3 == 2:
            self._ab[bit // 3].strobe(level)
        for name, port in zip("ab", self._ab, strict=True):
            if port.strobed and not port.stb:
                port.held = self._pins[name]
        if letter == "c":
            self._show()

    def _show(self) -> None:
        """Bring the pins up to date, data before the lines that vouch for it."""
        for letter, port in zip("ab", self._ab, strict=True):
            self._out[letter].show(0xFF if port.is_output else 0, port.out)
        self._out["c"].show(*self._drives_c())

    def _drives_c(self) -> tuple[int, int]:
        """Which bits of port C the chip drives, and their levels."""
        mask, value = ALT_OUTPUTS[self._alt], self._out_c
        for index, port in enumerate(self._ab):
            if port.strobed:
                mask |= 0b011 << 3 * index
                value |= (port.intr | port.full << 1) << 3 * index
        return mask, value

    # --- the timer --------------------------------------------------------------

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        self._count()
        now = self.site.schedule.now
        if self._clock:
            self._timer_in = self._clock.level(now)
        self._clock = None if period is None else SquareWave(period, start_t, high)
        if self._clock:
            self._seen = self._clock.rises_by(now)
            if not self._timer_in and self._clock.rises_by(now - 1) < self._seen:
                self._seen -= 1  # the pin rises at this very moment
        self._show_timer()

    def _command_timer(self, command: TimerCommand) -> None:
        if command is not TimerCommand.NONE:
            self._count()
            self.timer.command(command)
            self._show_timer()

    def _plain_edge(self, level: int) -> None:
        self._clock = None
        self._timer_in = level
        if level:
            self.timer.count(1)
            self._show_timer()

    def _count(self) -> None:
        """Give the timer the edges of its clock up to now."""
        if self._clock:
            seen = self._clock.rises_by(self.site.schedule.now)
            self.timer.count(seen - self._seen)
            self._seen = seen

    def _show_timer(self) -> None:
        """Bring TIMER OUT up to date and see to its next change, if anybody can see it."""
        if self._next:
            self._next.cancel()
            self._next = None
        if not self.site.is_wired("timerout"):
            return
        timer, clock = self.timer, self._clock
        if clock and timer.steady:
            began = clock.rise(self._seen - timer.done)
            high = timer.high_counts * clock.period
            self.site.drive_clock("timerout", timer.length * clock.period, began, high)
            return
        self.site.drive("timerout", timer.out())
        if clock and timer.running:
            at = clock.rise(self._seen + timer.next_change())
            self._next = self.site.schedule.at(nearest_t(at), self._change)

    def _change(self) -> None:
        self._next = None
        self._count()
        self._show_timer()

    def state(self) -> str:
        ports = ", ".join(f"{n} {self.peek(r):02X}" for n, r in (("A", A), ("B", B), ("C", C)))
        self._count()
        timer = self.timer
        left = f"{timer.length - timer.done} of {timer.length} counts left"
        return f"ALT {self._alt}, {ports}, timer {left if timer.running else 'stopped'}"


class Combo8156(Combo8155):
    """The 8155 with a chip enable that is active high."""

    kind = "8156"
    about = "8156: the 8155 with an active-high chip enable"
