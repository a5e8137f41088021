"""Character displays with a controller of the HD44780 kind, on the bus or on port pins.

Data sheet: HD44780U dot matrix liquid crystal display controller/driver.  Values from
memory.

Modelled: all instructions; 80 bytes of display RAM and 64 of character RAM; entry mode
with display shift, cursor and display shift; one and two lines, in modules of several
shapes; the 8-bit and the 4-bit interface, so that the sequences of initialization by
instruction work from any state; busy flag and address counter, with 37 us for an
instruction, 41 us for data, 1.52 ms for clear and home at the oscillator's usual 270 kHz
and 10 ms after power on.  ``44780`` sits on the bus, RS on the lowest address line;
``port-44780`` has RS, R/W, E and the data lines as pins: a write is taken when E falls, a
read is on the lines while E is high.  RESET OUT does not reach it.

Not modelled: the second font size (dots do not show in the text view), contrast and
backlight; the 4 us by which the address counter follows the busy flag; least widths of E.
Choices: what is written while busy is lost and counted; a row of characters of the
display's own (codes 00 to 0F) reads as a circled number, as a blank or block if it is one.
The text view has the character set with kana (ROM code A00).
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.kinds import Key, choice
from emu85.board.schedule import nearest_t

INSTRUCTION, DATA = 0, 1
BUSY = 0x80
LINE = 40
"""Characters of display RAM for each of two lines."""
SECOND_LINE = 0x40

_US = Fraction(1, 1_000_000)
POWER_ON, LONG, SHORT, DATA_TIME = 10_000 * _US, 1520 * _US, 37 * _US, 41 * _US

SHAPES = ("8x1", "16x1", "8x2", "16x2", "20x2", "24x2", "40x2", "16x4", "20x4")

_GREEK = "αäβεμσρg√⁻jˣ¢£ñöpqθ∞ΩüΣπxy□□□÷ █"  # noqa: RUF001
"""Codes E0 to FF; three signs of double width stand as squares."""
_OWN = "⓪①②③④⑤⑥⑦"
_ODD = {0x5C: "¥", 0x7E: "→", 0x7F: "←", 0xDF: "°"}


def character(code: int) -> str:
    """What a code of the character ROM looks like; codes from 10 on."""
    if code in _ODD:
        return _ODD[code]
    if 0x20 <= code < 0x80:
        return chr(code)
    if 0xA1 <= code < 0xE0:
        return chr(0xFF61 + code - 0xA1)
    return _GREEK[code - 0xE0] if code >= 0xE0 else " "


class Controller:
    """The controller behind either interface.

    Attributes:
        lost: bytes that came while it was busy.
        wide: the 8-bit interface.
        lines: 1 or 2.
        shift: how far the display has moved to the left.
        is_on, cursor, blink: display control.
    """

    def __init__(self, shape: str, site: Site) -> None:
        """``shape`` is one of :data:`SHAPES`."""
        self.width, self.height = (int(number) for number in shape.split("x"))
        self._site = site
        self.power()

    def power(self) -> None:
        """The internal reset."""
        self.cgram = bytearray(64)
        self.lost = 0
        self.wide = True
        self.lines = 1
        self.is_on = self.cursor = self.blink = False
        self._half: int | None = None
        self._read_half: int | None = None
        self._shifts = False
        self._in_cgram = False
        self._clear()
        self._busy_until = 0
        self._take(POWER_ON)

    # --- the interface ------------------------------------------------------------

    def write(self, rs: int, value: int) -> None:
        """A byte, or in 4-bit mode the nibble in its upper half."""
        if self.wide:
            self._execute(rs, value)
        elif self._half is None:
            self._half = value & 0xF0
        else:
            value = self._half | value >> 4
            self._half = None
            self._execute(rs, value)

    def peek(self, rs: int) -> int:
        """What :meth:`read` would answer."""
        if self._read_half is not None:
            return self._read_half
        if rs:
            return self._cell()
        return (BUSY if self.is_busy else 0) | self.address

    def read(self, rs: int) -> int:
        """A byte; in 4-bit mode the upper half has one nibble after the other."""
        value = self.peek(rs)
        if self._read_half is not None:
            self._read_half = None
            self._half = None
        else:
            if not self.wide:
                self._read_half = value << 4 & 0xF0
            if rs and not self.is_busy:
                self._advance()
                self._take(DATA_TIME)
        return value

    @property
    def is_busy(self) -> bool:
        """Whether an instruction is under way."""
        return self._site.schedule.now < self._busy_until

    def _take(self, time: Fraction) -> None:
        self._busy_until = self._site.schedule.now + nearest_t(time * self._site.clock)

    def _execute(self, rs: int, value: int) -> None:
        if self.is_busy:
            self.lost += 1
        elif rs:
            self._put(value)
            self._take(DATA_TIME)
        elif value:
            self._take(LONG if value < 4 else SHORT)
            self._instructions[value.bit_length() - 1](self, value)

    # --- instructions, by the highest bit that is set ---------------------------------

    def _clear(self, value: int = 1) -> None:
        self.ddram = bytearray(b" " * 2 * LINE)
        self._right = True
        self._home()

    def _home(self, value: int = 2) -> None:
        self.address = self.shift = 0
        self._in_cgram = False

    def _set_entry(self, value: int) -> None:
        self._right, self._shifts = bool(value & 2), bool(value & 1)

    def _set_display(self, value: int) -> None:
        self.is_on, self.cursor, self.blink = bool(value & 4), bool(value & 2), bool(value & 1)

    def _move(self, value: int) -> None:
        if value & 8:
            self._shift_by(-1 if value & 4 else 1)
        else:
            self._step(bool(value & 4))

    def _set_function(self, value: int) -> None:
        self.wide = bool(value & 0x10)
        self.lines = 2 if value & 0x08 else 1
        self._half = self._read_half = None

    def _set_cgram(self, value: int) -> None:
        self.address, self._in_cgram = value & 0x3F, True

    def _set_ddram(self, value: int) -> None:
        self.address, self._in_cgram = value & 0x7F, False

    _instructions = (
        _clear,
        _home,
        _set_entry,
        _set_display,
        _move,
        _set_function,
        _set_cgram,
        _set_ddram,
    )

    # --- data -----------------------------------------------------------------------

    def _place(self, address: int) -> int:
        """Where a display address is in RAM; addresses between the lines fold back."""
        if self.lines == 1:
            return address % (2 * LINE)
        line, column = divmod(address, SECOND_LINE)
        return line * LINE + column % LINE

    def _cell(self) -> int:
        return self.cgram[self.address] if self._in_cgram else self.ddram[self._place(self.address)]

    def _put(self, value: int) -> None:
        if self._in_cgram:
            self.cgram[self.address] = value
        else:
            self.ddram[self._place(self.address)] = value
            if self._shifts:
                self._shift_by(1 if self._right else -1)
        self._advance()

    def _advance(self) -> None:
        self._step(self._right)

    def _step(self, right: bool) -> None:
        """Move the address counter on by one, or back."""
        by = 1 if right else -1
        if self._in_cgram:
            self.address = (self.address + by) & 0x3F
            return
        place = (self._place(self.address) + by) % (2 * LINE)
        line, column = divmod(place, LINE) if self.lines == 2 else (0, place)
        self.address = line * SECOND_LINE + column

    def _shift_by(self, places: int) -> None:
        self.shift = (self.shift + places) % (LINE if self.lines == 2 else 2 * LINE)

    # --- what is seen -------------------------------------------------------------------

    @property
    def rows(self) -> list[str]:
        """The text on the display, a string for each row; blank while it is off."""
        return ["".join(self._shown(row, column) for column in range(self.width))
                for row in range(self.height)]  # fmt: skip

    def _shown(self, row: int, column: int) -> str:
        if not self.is_on or (self.lines == 1 and row > 0):
            return " "
        length = LINE if self.lines == 2 else 2 * LINE
        column = (column + row // 2 * self.width + self.shift) % length
        code = self.ddram[(row % 2) * LINE + column]
        return self._own(code & 7) if code < 0x10 else character(code)

    def _own(self, number: int) -> str:
        dots = {row & 0x1F for row in self.cgram[number * 8 : number * 8 + 8]}
        if dots == {0x1F}:
            return "█"
        return " " if dots == {0} else _OWN[number]

    def state(self) -> str:
        """One line: the rows between bars, and what is worth a word."""
        notes = [] if self.is_on else ["off"]
        notes += ["busy"] if self.is_busy else []
        notes += [f"{self.lost} lost while busy"] if self.lost else []
        return f"[{'|'.join(self.rows)}] {', '.join(notes)}".rstrip()


SHAPE = Key("size", choice(*SHAPES), "columns x rows", "16x2", "16x2")


class Lcd(Device):
    """Two registers."""

    kind = "44780"
    about = "a character display on the bus (HD44780 kind)"
    options = (SHAPE,)
    registers = (
        Register("instruction", "write: instruction; read: busy flag, address", Read.LIVE, True),
        Register("data", "display or character RAM", Read.LIVE, True),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.controller = Controller(options["size"], site)

    def power(self) -> None:
        self.controller.power()

    def read(self, register: int) -> int:
        return self.controller.read(register)

    def peek(self, register: int) -> int:
        return self.controller.peek(register)

    def write(self, register: int, value: int) -> None:
        self.controller.write(register, value)

    @property
    def rows(self) -> list[str]:
        """The text on the display."""
        return self.controller.rows

    def state(self) -> str:
        return self.controller.state()


class PortLcd(Device):
    """Eleven pins."""

    kind = "port-44780"
    about = "a character display on port pins (HD44780 kind)"
    options = (SHAPE,)
    _data: ClassVar[Mapping[str, str]] = {f"d{n}": f"data line {n}" for n in range(8)}
    outputs: ClassVar[Mapping[str, str]] = _data
    inputs: ClassVar[Mapping[str, str]] = {
        "rs": "0 instruction, 1 data",
        "rw": "1 reads; low where it is not wired",
        "e": "enable",
        **_data,
    }

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.controller = Controller(options["size"], site)
        self._levels: dict[str, int] = {}

    def power(self) -> None:
        self._levels = {"rs": 0, "rw": 0, "e": 0, **dict.fromkeys(self._data, 1)}
        self._driven: int | None = None
        self.controller.power()

    def sense(self, pin: str, level: int) -> None:
        before, self._levels[pin] = self._levels[pin], level
        if pin == "e" and level != before:
            if level:
                self._rise()
            else:
                self._fall()
        elif pin == "rw" and not level:
            self._release()

    def _rise(self) -> None:
        if not self._levels["rw"]:
            return
        self._driven = self.controller.peek(self._levels["rs"])
        for bit in range(0 if self.controller.wide else 4, 8):
            self.site.drive(f"d{bit}", self._driven >> bit & 1)

    def _fall(self) -> None:
        rs = self._levels["rs"]
        if self._driven is not None:
            self.controller.read(rs)
            self._release()
        elif not self._levels["rw"]:
            self.controller.write(rs, sum(self._levels[f"d{n}"] << n for n in range(8)))

    def _release(self) -> None:
        if self._driven is None:
            return
        self._driven = None
        for pin in self._data:
            self.site.release(pin)

    @property
    def rows(self) -> list[str]:
        """The text on the display."""
        return self.controller.rows

    def state(self) -> str:
        return self.controller.state()
