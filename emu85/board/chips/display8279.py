"""8279 programmable keyboard and display interface.

Data sheet: Intel 8279/8279-5 Programmable Keyboard/Display Interface.  Values from memory.

Modelled: all eight commands.  Keyboard: encoded and decoded scan, two-key lockout,
N-key rollover with its special error mode, sensor matrix, strobed input; debounce over
two scans; an eight-character FIFO with its status word, overrun and underrun; SHIFT and
CNTL in bits 6 and 7 as they stand at the pins; IRQ.  Display: 16 bytes of RAM, 8 or 16
characters, left and right entry, auto increment, nibble write inhibit and blanking, the
clear command with its three codes and its 160 us in which the display is unavailable.
Timing from CLK through the prescaler: at 100 kHz inside, 640 us a row, 5.12 ms a
keyboard scan, 480 us of a digit lit and 160 us blank.

The scan lines ``sl0`` to ``sl3`` are square waves, told to a keypad as clocks, and the
keyboard is only looked at when a row may bring something new, so a chip with no key
down, or with keys that have been entered, costs nothing by itself.  The output and BD
pins are given edge by edge if they are wired; without wires the text view shows what
digits on them would, with no cost.  CLK is the CPU's clock where no wire says
otherwise.

Not modelled: the 80 us in which each key of a row has its turn (a row is looked at as
a whole in the middle of its time); CLK of single edges; test mode.
Choices, where the data sheet is silent: a full FIFO shows a count of 0 beside its full
bit; reading an empty FIFO gives the last character again; after RESET the FIFO is empty,
IRQ low and the display RAM as it was (zeros when power comes on); sensors read as the
level at the return line, 1 while open, and a 0 in the RAM is a closure; auto increment
wraps at the number of characters; each auto-incremented write moves a right-entry
display by one place, and RESET and clear all put it back; a prescaler of 0 or 1 counts
as 2; what is written while the display is unavailable is lost.
"""

from __future__ import annotations

import enum
from collections import deque
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.kinds import Key, choice
from emu85.board.schedule import Event, nearest_t
from emu85.board.segments import NAMES, ORDER, STRAIGHT, arranged, text_of
from emu85.board.square_wave import SquareWave

DATA, CONTROL = 0, 1

ROW_CLOCKS = 64
"""Internal clocks that a row, or a digit, has its turn."""
LIT_CLOCKS = 48
CLEAR_CLOCKS = 16
DEBOUNCE_SCANS = 2
FIFO_SIZE = 8
RAM_SIZE = 16
OPEN = 0xFF


class Status(enum.IntFlag):
    """Bits of the FIFO status word above the count."""

    FULL = 0x08
    UNDERRUN = 0x10
    OVERRUN = 0x20
    SENSOR_OR_ERROR = 0x40
    UNAVAILABLE = 0x80


class Way(enum.IntEnum):
    """Upper two bits of the keyboard mode."""

    LOCKOUT = 0
    ROLLOVER = 1
    SENSORS = 2
    STROBED = 3


class Fifo:
    """The characters that wait for the CPU, and what has gone wrong."""

    def __init__(self) -> None:
        self.waiting: deque[int] = deque()
        self.overrun = self.underrun = False
        self._last = 0

    def clear(self) -> None:
        """Empty, with no error."""
        self.waiting.clear()
        self.overrun = self.underrun = False

    def enter(self, character: int) -> None:
        """A character comes; one too many is lost."""
        if len(self.waiting) == FIFO_SIZE:
            self.overrun = True
        else:
            self.waiting.append(character)

    def next(self) -> int:
        """What a read would give."""
        return self.waiting[0] if self.waiting else self._last

    def take(self) -> int:
        """Read a character."""
        if self.waiting:
            self._last = self.waiting.popleft()
        else:
            self.underrun = True
        return self._last

    def status(self) -> int:
        """Count, full, underrun and overrun."""
        count = len(self.waiting)
        value = count & 7 | (Status.FULL if count == FIFO_SIZE else 0)
        return value | self.underrun * Status.UNDERRUN | self.overrun * Status.OVERRUN


class Debounce:
    """Which keys are to be entered, from one row of the scan to the next.

    Attributes:
        error: in special error mode, two keys came down within a debounce time.
        rollover: N-key rollover, else two-key lockout.
        special: the special error mode is on.
    """

    def __init__(self) -> None:
        self.rollover = self.special = self.error = False
        self.clear()

    def clear(self) -> None:
        """No key is down."""
        self._rows: dict[int, list[int]] = {}
        self._seen: dict[int, int] = {}
        self._entered: set[int] = set()

    def may_enter(self, closed: list[int]) -> bool:
        """Whether keys that are down may have to be entered, now or later."""
        return any(key not in self._entered for key in closed)

    def is_down(self, row: int) -> bool:
        """Whether a key of a row was down when it was last looked at."""
        return bool(self._rows.get(row))

    def see(self, row: int, closed: list[int]) -> list[int]:
        """The keys to enter now; ``closed`` are those of a row that are down."""
        gone = set(self._rows.get(row, ())) - set(closed)
        self._rows[row] = closed
        self._entered -= gone
        for key in gone:
            self._seen.pop(key, None)
        if not self.rollover and sum(map(len, self._rows.values())) > 1:
            self._seen.clear()  # nothing is recognized until one key remains alone
            return []
        for key in closed:
            if key not in self._entered:
                self._seen[key] = self._seen.get(key, -1) + 1
        if self.rollover and self.special and len(self._seen) > 1:
            self.error = True
        ready = [key for key in closed if self._seen.get(key) == DEBOUNCE_SCANS]
        for key in ready:
            del self._seen[key]
            self._entered.add(key)
        return ready


class Display:
    """The display RAM, and what of it is shown.

    Attributes:
        size: characters shown, 8 or 16.
        right: right entry.
        address: where the next read or write goes.
        steps: auto increment.
        inhibit: mask of the bits that writes leave alone.
        blank: mask of the bits that show the blank code instead.
        code: the blank code.
    """

    def __init__(self) -> None:
        self.ram = bytearray(RAM_SIZE)
        self.reset()

    def reset(self) -> None:
        """As after RESET: 16 characters, left entry; the RAM stays."""
        self.size = 16
        self.right = False
        self.address = self.moved = 0
        self.steps = False
        self.inhibit = self.blank = self.code = 0

    def read(self) -> int:
        """The byte at the address, which moves on if it steps."""
        value = self.ram[self.address]
        self._step()
        return value

    def write(self, value: int) -> None:
        """Change the byte at the address."""
        old = self.ram[self.address]
        self.ram[self.address] = old & self.inhibit | value & ~self.inhibit
        if self.right and self.steps:
            self.moved = (self.moved + 1) % self.size
        self._step()

    def _step(self) -> None:
        if self.steps:
            self.address = (self.address + 1) % self.size

    def shown(self, place: int) -> int:
        """What the outputs have for a place, 0 on the left."""
        value = self.ram[(self.moved + place) % self.size]
        return value & ~self.blank | self.code & self.blank


class Kdc8279(Device):
    """Registers, pins and time."""

    kind = "8279"
    about = "8279: keyboard scanner and display driver"
    options = (
        Key("segments", ORDER, "the segments on b0-b3, a0-a3, for the text", STRAIGHT, NAMES),
        Key("lit by", choice("1", "0"), "the bit value that lights a segment", "1", "1"),
    )
    registers = (
        Register("data", "write: display; read: FIFO, sensors or display", Read.LIVE, True),
        Register("control", "write: command; read: FIFO status", Read.LIVE, True),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        **{f"sl{n}": f"scan line {n}" for n in range(4)},
        **{f"outa{n}": f"display, bit {n + 4}" for n in range(4)},
        **{f"outb{n}": f"display, bit {n}" for n in range(4)},
        "bd": "blank display; active low",
        "irq": "high while there is something to read",
    }
    inputs: ClassVar[Mapping[str, str]] = {
        "shift": "bit 6 of a character",
        "cntl": "bit 7 of a character; strobe in strobed input mode",
    }
    clock_inputs: ClassVar[Mapping[str, str]] = {
        "clk": "CLK, the CPU's clock if not wired",
        **{f"rl{n}": f"return line {n}, low by a closed key" for n in range(8)},
    }
    _output_pins: ClassVar[tuple[str, ...]] = (
        *(f"outb{n}" for n in range(4)),
        *(f"outa{n}" for n in range(4)),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._order: tuple[int, ...] = options["segments"]
        self._invert = 0xFF if options["lit by"] == "0" else 0
        self._shows = any(site.is_wired(pin) for pin in (*self._output_pins, "bd"))
        self._start_cold()

    def _start_cold(self) -> None:
        self._clk: Fraction | None = None if self.site.is_wired("clk") else Fraction(1)
        self._plain_returns = OPEN
        self._return_waves: dict[int, SquareWave] = {}
        self._shift = self._cntl = 1
        self.display = Display()
        self.fifo = Fifo()
        self._sensors = bytearray([OPEN] * 8)
        self._debounce = Debounce()
        self._changed = False
        self._middles: SquareWave | None = None
        self._next_row = 0
        self._row_event: Event | None = None
        self._out_event: Event | None = None
        self._irq = 0
        self._origin = Fraction(0)
        self._prescaler = 31
        self._decoded = False
        self._way = Way.LOCKOUT

    def power(self) -> None:
        self._start_cold()
        self._origin = Fraction(self.site.schedule.now)
        self.reset()

    def reset(self) -> None:
        self._prescaler = 31
        self._restart_timing()
        self.display.reset()
        self._read_display = False
        self._sensor_row = 0
        self._sensor_steps = False
        self._busy_until = Fraction(0)
        self._set_mode(0x08)
        self._debounce.special = False
        self._clear_fifo()

    # --- time -------------------------------------------------------------------

    @property
    def _clock(self) -> Fraction | None:
        """The internal clock's period in T-states; None while CLK stands still."""
        return None if self._clk is None else self._clk * self._prescaler

    @property
    def _position(self) -> Fraction:
        """Rows that the scan counter has passed since its origin."""
        clock = self._clock
        if clock is None:
            return Fraction(0)
        return (self.site.schedule.now - self._origin) / (clock * ROW_CLOCKS)

    def _restart_timing(self) -> None:
        self._origin = Fraction(self.site.schedule.now)
        self._scan()

    def _retime(self, clk: Fraction | None, prescaler: int) -> None:
        """Another clock; the scan goes on from where it is."""
        position = self._position
        self._clk, self._prescaler = clk, prescaler
        if self._clock is not None:
            self._origin = self.site.schedule.now - position * self._clock * ROW_CLOCKS
        self._scan()

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        if pin == "clk":
            self._retime(period, self._prescaler)
            return
        self._pass_rows()
        bit = 1 << int(pin[2])
        self._plain_returns = self._returns(self.site.schedule.now)
        self._return_waves.pop(bit, None)
        if period is not None:
            self._return_waves[bit] = SquareWave(period, start_t, high)
        self._await_row()

    def _scan(self) -> None:
        """Give the scan lines their waves, and what depends on time its events."""
        clock = self._clock
        if clock is not None:
            row = clock * ROW_CLOCKS
            for bit in range(4):
                if self._decoded:
                    start = self._origin + (bit + 1 - self._rows) * row
                    self.site.drive_clock(f"sl{bit}", 4 * row, start, 3 * row)
                else:
                    half = row * 2**bit
                    self.site.drive_clock(f"sl{bit}", 2 * half, self._origin - half)
        else:
            for bit in range(4):
                self.site.drive_clock(f"sl{bit}", None, 0)
        self._fit_rows(clock)
        self._await_digit(again=True)

    # --- the bus ----------------------------------------------------------------

    def peek(self, register: int) -> int:
        if register == CONTROL:
            return self._status()
        if self._read_display:
            return self.display.ram[self.display.address]
        if self._way is Way.SENSORS:
            return self._sensors[self._sensor_row]
        return self.fifo.next()

    def read(self, register: int) -> int:
        if register == CONTROL:
            return self._status()
        self._pass_rows()
        if self._read_display:
            return self.display.read()
        if self._way is Way.SENSORS:
            return self._read_sensor()
        value = self.fifo.take()
        self._set_irq(0)  # it falls with each read and rises again if there is more
        self._set_irq(int(bool(self.fifo.waiting) or self._debounce.error))
        return value

    def write(self, register: int, value: int) -> None:
        if register == DATA:
            if not self._is_clearing:
                self.display.write(value)
            return
        self._pass_rows()
        _COMMANDS[value >> 5](self, value)
        self._await_row()

    def _status(self) -> int:
        value = self.fifo.status()
        is_closed = self._way is Way.SENSORS and any(row != OPEN for row in self._sensors)
        if is_closed or self._debounce.error:
            value |= Status.SENSOR_OR_ERROR
        return value | (Status.UNAVAILABLE if self._is_clearing else 0)

    @property
    def _is_clearing(self) -> bool:
        return self.site.schedule.now < self._busy_until

    # --- commands ---------------------------------------------------------------

    def _set_mode(self, value: int) -> None:
        self.display.size = 16 if value & 0x08 else 8
        self.display.right = bool(value & 0x10)
        self._decoded = bool(value & 0x01)
        self._way = Way(value >> 1 & 3)
        self._debounce.rollover = self._way is Way.ROLLOVER
        self._debounce.clear()
        self._scan()

    def _set_clock(self, value: int) -> None:
        self._retime(self._clk, max(value & 0x1F, 2))

    def _choose_fifo(self, value: int) -> None:
        self._read_display = False
        self._sensor_row = value & 7
        self._sensor_steps = bool(value & 0x10)

    def _choose_display(self, value: int) -> None:
        self._read_display = True
        self._address_display(value)

    def _address_display(self, value: int) -> None:
        self.display.address = value & 0x0F
        self.display.steps = bool(value & 0x10)

    def _set_blanking(self, value: int) -> None:
        self.display.inhibit = 0xF0 * (value >> 3 & 1) | 0x0F * (value >> 2 & 1)
        self.display.blank = 0xF0 * (value >> 1 & 1) | 0x0F * (value & 1)

    def _clear(self, value: int) -> None:
        everything = value & 0x01
        if value & 0x10 or everything:
            self.display.code = {2: 0x20, 3: 0xFF}.get(value >> 2 & 3, 0)
            self.display.ram[:] = bytes([self.display.code] * RAM_SIZE)
            clock = self._clock or Fraction(0)
            self._busy_until = self.site.schedule.now + CLEAR_CLOCKS * clock
        if value & 0x02 or everything:
            self._clear_fifo()
        if everything:
            self.display.moved = 0
            self._restart_timing()

    def _clear_fifo(self) -> None:
        self.fifo.clear()
        self._debounce.error = False
        self._sensor_row = 0
        self._set_irq(0)

    def _end_interrupt(self, value: int) -> None:
        self._debounce.special = bool(value & 0x10)
        if self._way is Way.SENSORS:
            self._set_irq(0)

    # --- the keyboard -----------------------------------------------------------

    @property
    def _rows(self) -> int:
        return 4 if self._decoded else 8

    def sense(self, pin: str, level: int) -> None:
        if pin == "shift":
            self._shift = level
        elif pin == "cntl":
            rises = level > self._cntl
            self._cntl = level
            if rises and self._way is Way.STROBED:
                self._enter(self._returns(self.site.schedule.now))
        elif pin == "clk":
            return
        else:
            self._pass_rows()
            bit = 1 << int(pin[2])
            plain = self._plain_returns
            self._plain_returns = plain | bit if level else plain & ~bit
            self._await_row()

    def _returns(self, t: int) -> int:
        """The levels at the return lines at T-state ``t``, if nothing happens till then."""
        value = self._plain_returns
        for bit, wave in self._return_waves.items():
            number = wave.next_edge(t)
            if number:
                value = value | bit if wave.level_before(number) else value & ~bit
        return value

    def _fit_rows(self, clock: Fraction | None) -> None:
        """The middles of the rows' times follow the internal clock."""
        self._middles = None
        if clock is not None:
            row = clock * ROW_CLOCKS
            self._middles = SquareWave(row, self._origin + row / 2, row / 2)
            self._next_row = self._row_after(self._middles, self.site.schedule.now)
        self._await_row()

    def _row_after(self, middles: SquareWave, t: int) -> int:
        """The first row whose middle comes after T-state ``t``, counted from the origin."""
        return (middles.next_edge(t) + 1) // 2

    def _pass_rows(self) -> None:
        """See to the rows whose middle is past, at the levels that have held since the last.

        They bring nothing that anybody sees, or there would have been an event.  So one
        scan is as good as many.
        """
        if self._middles is None or self._way is Way.STROBED:
            return
        following = self._row_after(self._middles, self.site.schedule.now - 1)
        for number in range(max(self._next_row, following - self._rows), following):
            self._look(number)
        self._next_row = max(self._next_row, following)

    def _await_row(self) -> None:
        """Look in the middle of the next row that may bring something new."""
        number = self._next_that_matters()
        middles = self._middles
        t = None if number is None or middles is None else middles.edge(2 * number)
        if self._row_event:
            if self._row_event.t == t:
                return
            self._row_event.cancel()
        self._row_event = None if t is None else self.site.schedule.at(t, self._see_row)

    def _next_that_matters(self) -> int | None:
        if self._middles is None or self._way is Way.STROBED:
            return None
        if self._way is not Way.SENSORS and self._plain_returns == OPEN and not self._return_waves:
            return None
        numbers = range(self._next_row, self._next_row + self._rows)
        found = next((number for number in numbers if self._matters(number)), None)
        if found is None and not self._repeats:
            return numbers[-1]
        return found

    @property
    def _repeats(self) -> bool:
        """Whether each scan finds what the one before has found, if nothing happens."""
        scan = (self._clock or 0) * ROW_CLOCKS * self._rows
        return all(scan % wave.period == 0 for wave in self._return_waves.values())

    def _matters(self, number: int) -> bool:
        """Whether somebody may see that a row is looked at."""
        assert self._middles is not None
        row, returns = number % self._rows, self._returns(self._middles.edge(2 * number))
        if self._way is not Way.SENSORS:
            return self._debounce.may_enter(_closed(row, returns))
        ends = self._changed and row == self._rows - 1
        return not self._irq and (ends or self._sensors[row] != returns)

    def _see_row(self) -> None:
        self._row_event = None
        self._pass_rows()
        self._look(self._next_row)
        self._next_row += 1
        self._await_row()

    def _look(self, number: int) -> None:
        assert self._middles is not None
        row, returns = number % self._rows, self._returns(self._middles.edge(2 * number))
        if self._way is Way.SENSORS:
            self._take_sensors(row, returns)
        elif returns != OPEN or self._debounce.is_down(row):
            self._take_keys(row, _closed(row, returns))

    def _take_keys(self, row: int, closed: list[int]) -> None:
        had_error = self._debounce.error
        for key in self._debounce.see(row, closed):
            if not self._debounce.error:
                self._enter(self._cntl << 7 | self._shift << 6 | key)
        if self._debounce.error and not had_error:
            self._set_irq(1)

    def _take_sensors(self, row: int, returns: int) -> None:
        if self._irq:  # the RAM is not written any more
            return
        self._changed |= self._sensors[row] != returns
        self._sensors[row] = returns
        if self._changed and row == self._rows - 1:
            self._changed = False
            self._set_irq(1)

    def _enter(self, character: int) -> None:
        self.fifo.enter(character)
        self._set_irq(1)

    def _read_sensor(self) -> int:
        value = self._sensors[self._sensor_row]
        if self._sensor_steps:
            self._sensor_row = (self._sensor_row + 1) & 7
        else:
            self._set_irq(0)
            self._await_row()
        return value

    def _set_irq(self, level: int) -> None:
        self._irq = level
        self.site.drive("irq", level)

    # --- the display ------------------------------------------------------------

    @property
    def _places(self) -> int:
        """Characters that the scan lines reach."""
        return 4 if self._decoded else self.display.size

    def _await_digit(self, *, again: bool = False) -> None:
        """If anybody sees the outputs, change them when the next digit has its turn."""
        if self._out_event and again:
            self._out_event.cancel()
        self._out_event = None
        clock = self._clock
        if not self._shows or clock is None:
            return
        number = int(self._position)
        start = self._origin + number * clock * ROW_CLOCKS
        if nearest_t(start) < self.site.schedule.now or not again:
            number, start = number + 1, start + clock * ROW_CLOCKS
        self._out_event = self.site.schedule.at(nearest_t(start), lambda: self._light(number))

    def _light(self, number: int) -> None:
        """A digit's turn begins."""
        assert self._clock is not None
        self._put_out(self.display.shown(number % self._places))
        self.site.drive("bd", int(self.display.blank != 0xFF))
        dark = self._origin + (number * ROW_CLOCKS + LIT_CLOCKS) * self._clock
        self._out_event = self.site.schedule.at(nearest_t(dark), self._darken)

    def _darken(self) -> None:
        self._put_out(self.display.code)
        self.site.drive("bd", 0)
        self._await_digit()

    def _put_out(self, value: int) -> None:
        for bit, pin in enumerate(self._output_pins):
            self.site.drive(pin, value >> bit & 1)

    @property
    def text(self) -> str:
        """What digits on the outputs show, from left to right."""
        codes = [self.display.shown(place) ^ self._invert for place in range(self._places)]
        return text_of([arranged(code, self._order) for code in codes])

    def state(self) -> str:
        waiting = len(self.fifo.waiting)
        return f"[{self.text}] {waiting} in the FIFO, status {self._status():02X}"


def _closed(row: int, returns: int) -> list[int]:
    """The keys of a row that are down."""
    return [row << 3 | column for column in range(8) if not returns >> column & 1]


_COMMANDS = (
    Kdc8279._set_mode,
    Kdc8279._set_clock,
    Kdc8279._choose_fifo,
    Kdc8279._choose_display,
    Kdc8279._address_display,
    Kdc8279._set_blanking,
    Kdc8279._clear,
    Kdc8279._end_interrupt,
)
"""What each command does, by bits 7 to 5."""
