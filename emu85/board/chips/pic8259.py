"""8259A programmable interrupt controller in the MCS-80/85 mode.

Data sheet: Intel 8259A Programmable Interrupt Controller; application note AP-59,
Using the 8259A Programmable Interrupt Controller (values from memory).

Modelled: ICW1 to ICW4 in their order; OCW1 to OCW3; the CALL given in three INTA
cycles, with addresses 4 or 8 apart; fully nested priorities; rotation on specific
and non-specific EOI, in automatic EOI, and by the set priority command; specific,
non-specific and automatic EOI; special mask mode; special fully nested mode; the
poll command; reading IRR, ISR and IMR; edge and level triggering, an edge request
being lost when its input falls before the acknowledge, which then gives IR7 with
no ISR bit; cascading, with the slave's number on CAS0-CAS2 from the end of the first
INTA pulse to that of the last and CAS low otherwise, so that a slave with number 0
must be at the IR0 of a master whose inputs are all slaves; in the 8086 mode of
ICW4, nothing in the first INTA and the type in the second.

Not modelled: the buffer enable level on SP/EN (the M/S bit of buffered mode is).
The data sheet leaves open, and we chose: before ICW1 the controller answers
nothing and INT is low; ICW1 clears ISR as well; a poll with nothing to serve gives
00; an IR with no wire is low; in special mask mode a masked level in service
holds nothing back.  Inputs are looked at when an INTA cycle begins; automatic EOI
comes with the end of the last pulse.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site

CALL = 0xCD
ICW1, OCW3 = 0x10, 0x08
"""Bits that tell a command word written at A0 = 0 from the others."""
INTA = 3
"""T-states from the beginning of an INTA cycle to the trailing edge of its pulse."""
DEFAULT_LEVEL = 7
"""What is given when the request has gone by the time it is acknowledged."""


class Expected(enum.Enum):
    """The word that the next write at A0 = 1 is."""

    NOTHING = "ICW1"
    ICW2 = "ICW2"
    ICW3 = "ICW3"
    ICW4 = "ICW4"
    MASK = "OCW1"


class Eoi(enum.IntEnum):
    """OCW2 bits 7-5: rotate, specific, EOI."""

    AUTOMATIC_ROTATION_OFF = 0
    NON_SPECIFIC = 1
    NOTHING = 2
    SPECIFIC = 3
    AUTOMATIC_ROTATION_ON = 4
    ROTATE_NON_SPECIFIC = 5
    SET_PRIORITY = 6
    ROTATE_SPECIFIC = 7


class Controller(Device):
    """Eight request inputs, in one chip; up to eight slaves at a master's inputs."""

    kind = "8259A"
    about = "interrupt controller: puts a CALL on the bus in INTA cycles"
    registers = (
        Register("command", "ICW1, OCW2, OCW3; read IRR or ISR", Read.LIVE, written=True),
        Register("mask", "ICW2-ICW4, OCW1; read IMR", Read.LIVE, written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        "int": "high while a request waits to be acknowledged",
        **{f"cas{n}": f"cascade bit {n}, driven by a master" for n in range(3)},
    }
    inputs: ClassVar[Mapping[str, str]] = {
        **{f"ir{n}": f"interrupt request {n}" for n in range(8)},
        **{f"cas{n}": f"cascade bit {n}, looked at by a slave" for n in range(3)},
        "sp": "high in a master, low in a slave; high if not wired",
    }
    answers_inta = True

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._sp = 1

    def power(self) -> None:
        self._inputs = self._cas = 0
        self._expected = Expected.NOTHING
        self._icw1 = self._icw2 = self._icw3 = self._icw4 = 0
        self._edges = self._mask = self._service = 0
        self._int = 0
        self._begin_again()
        self.site.drive("int", 0)

    def _begin_again(self) -> None:
        """What ICW1 does besides being kept."""
        self._edges = self._mask = self._service = 0
        self._lowest = 7
        self._special_mask = self._reads_service = self._polls = False
        self._rotates = False
        self._icw3 = self._icw4 = 0
        self._pulse = 0
        self._acknowledged = DEFAULT_LEVEL

    # --- command words ------------------------------------------------------

    def write(self, register: int, value: int) -> None:
        if register == 1:
            self._write_mask_side(value)
        elif value & ICW1:
            self._icw1 = value
            self._begin_again()
            self._expected = Expected.ICW2
            self._take_role()
        elif self._expected is Expected.NOTHING:
            return
        elif value & OCW3:
            self._ocw3(value)
        else:
            self._ocw2(Eoi(value >> 5), value & 7)
        self._show_int()

    def _write_mask_side(self, value: int) -> None:
        if self._expected is Expected.MASK:
            self._mask = value
        elif self._expected is Expected.ICW2:
            self._icw2 = value
            self._expect_after(Expected.ICW2)
        elif self._expected is Expected.ICW3:
            self._icw3 = value
            self._expect_after(Expected.ICW3)
        elif self._expected is Expected.ICW4:
            self._icw4 = value
            self._expected = Expected.MASK
            self._take_role()

    def _expect_after(self, word: Expected) -> None:
        if word is Expected.ICW2 and self._has_others:
            self._expected = Expected.ICW3
        elif self._icw1 & 0x01:
            self._expected = Expected.ICW4
        else:
            self._expected = Expected.MASK

    def _ocw2(self, command: Eoi, level: int) -> None:
        if command is Eoi.SPECIFIC:
            self._service &= ~(1 << level)
        elif command is Eoi.ROTATE_SPECIFIC:
            self._service &= ~(1 << level)
            self._lowest = level
        elif command is Eoi.SET_PRIORITY:
            self._lowest = level
        elif command in (Eoi.NON_SPECIFIC, Eoi.ROTATE_NON_SPECIFIC):
            self._end_highest(rotate=command is Eoi.ROTATE_NON_SPECIFIC)
        elif command in (Eoi.AUTOMATIC_ROTATION_ON, Eoi.AUTOMATIC_ROTATION_OFF):
            self._rotates = command is Eoi.AUTOMATIC_ROTATION_ON

    def _ocw3(self, value: int) -> None:
        if value & 0x40:
            self._special_mask = bool(value & 0x20)
        if value & 0x02:
            self._reads_service = bool(value & 0x01)
        self._polls = bool(value & 0x04)

    def _end_highest(self, *, rotate: bool) -> None:
        """Non-specific EOI; in special mask mode it passes over masked levels."""
        level = self._highest(self._holding_back)
        if level is None:
            return
        self._service &= ~(1 << level)
        if rotate:
            self._lowest = level

    # --- priorities ---------------------------------------------------------

    @property
    def requests(self) -> int:
        """IRR: edges whose input is still high, or the levels themselves."""
        return self._inputs if self._is_level_triggered else self._edges

    def _rank(self, level: int) -> int:
        """0 for the highest priority."""
        return (level - self._lowest - 1) & 7

    def _highest(self, levels: int) -> int | None:
        """The one of highest priority in a set of levels."""
        found = [level for level in range(8) if levels >> level & 1]
        return min(found, key=self._rank, default=None)

    @property
    def _holding_back(self) -> int:
        """Levels in service that hold back others."""
        return self._service & ~(self._mask if self._special_mask else 0)

    def _wanted(self) -> int | None:
        """The level to be served next, if one may interrupt now."""
        level = self._highest(self.requests & ~self._mask)
        serving = self._highest(self._holding_back)
        if level is None or serving is None:
            return level
        if self._special_mask and self._service >> level & 1:
            return None
        if level == serving and self._is_special_nested and self._has_slave(level):
            return level
        return level if self._rank(level) < self._rank(serving) else None

    def _serve(self) -> int | None:
        """Take the level to be served into service; its edge is used up."""
        level = self._wanted()
        if level is not None:
            self._service |= 1 << level
            self._edges &= ~(1 << level)
        return level

    def _ended(self) -> None:
        """The acknowledge is over: automatic EOI."""
        if self._icw4 & 0x02:
            self._end_highest(rotate=self._rotates)

    # --- the acknowledge ----------------------------------------------------

    def acknowledge(self) -> int | None:
        if self._expected is not Expected.MASK:
            return None
        self._pulse += 1
        answer = self._second_mode() if self._icw4 & 0x01 else self._call()
        self._show_int()
        return answer

    def _call(self) -> int | None:
        """One byte of CALL, in three pulses."""
        pulse = self._pulse
        if pulse == 1:
            self._first_pulse()
            return None if self._is_slave else CALL
        if pulse == 2 and self._is_slave and self._is_addressed:
            self._take_into_service()
        mine = self._answers
        address = self._address()
        if pulse < 3:
            return address & 0xFF if mine else None
        self._last_pulse(mine)
        return address >> 8 if mine else None

    def _second_mode(self) -> int | None:
        """The 8086 mode: two pulses, the second gives the type."""
        if self._pulse == 1:
            self._first_pulse()
            return None
        if self._is_slave and self._is_addressed:
            self._take_into_service()
        mine = self._answers
        self._last_pulse(mine)
        return self._icw2 & 0xF8 | self._acknowledged if mine else None

    def _first_pulse(self) -> None:
        if self._is_slave:
            return
        self._take_into_service()
        level = self._acknowledged
        if self._has_slave(level):
            self.site.schedule.after(INTA, lambda: self._put_cas(level))

    def _take_into_service(self) -> None:
        level = self._serve()
        self._acknowledged = DEFAULT_LEVEL if level is None else level

    def _last_pulse(self, mine: bool) -> None:
        """The acknowledge is over when this cycle ends."""
        self._pulse = 0
        ends = mine or not self._is_slave

        def trailing_edge() -> None:
            if not self._is_slave:
                self._put_cas(0)
            if ends:
                self._ended()
                self._show_int()

        self.site.schedule.after(INTA, trailing_edge)

    @property
    def _answers(self) -> bool:
        """Whether the address comes from here, and not from a slave or another one."""
        if self._is_slave:
            return self._is_addressed
        return not self._has_slave(self._acknowledged)

    def _address(self) -> int:
        """Where the CALL goes, by ICW1, ICW2 and the level."""
        step = 2 if self._icw1 & 0x04 else 3  # addresses 4 or 8 apart
        page = self._icw1 & 0xFF << step + 3 & 0xFF
        return self._icw2 << 8 | page | self._acknowledged << step

    # --- being one of several -----------------------------------------------

    @property
    def _has_others(self) -> bool:
        return not self._icw1 & 0x02

    @property
    def _is_slave(self) -> bool:
        if not self._has_others:
            return False
        if self._icw4 & 0x08:
            return not self._icw4 & 0x04
        return not self._sp

    @property
    def _is_addressed(self) -> bool:
        return self._cas == self._icw3 & 7

    def _has_slave(self, level: int) -> bool:
        return self._has_others and not self._is_slave and bool(self._icw3 >> level & 1)

    @property
    def _is_level_triggered(self) -> bool:
        return bool(self._icw1 & 0x08)

    @property
    def _is_special_nested(self) -> bool:
        return bool(self._icw4 & 0x10)

    def _take_role(self) -> None:
        """A master drives the cascade lines, a slave listens."""
        if self._is_slave:
            for n in range(3):
                self.site.release(f"cas{n}")
        else:
            self._put_cas(0)

    def _put_cas(self, number: int) -> None:
        for n in range(3):
            self.site.drive(f"cas{n}", number >> n & 1)

    # --- pins and reads -----------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        if pin == "sp":
            self._sp = level
            return
        bit = 1 << int(pin[-1])
        if pin.startswith("cas"):
            self._cas = self._cas & ~bit | (bit if level else 0)
            return
        if level:
            self._edges |= bit & ~self._inputs
            self._inputs |= bit
        else:
            self._edges &= ~bit
            self._inputs &= ~bit
        self._show_int()

    def _show_int(self) -> None:
        level = int(self._expected is Expected.MASK and self._wanted() is not None)
        if level != self._int:
            self._int = level
            self.site.drive("int", level)

    def read(self, register: int) -> int:
        if not self._polls:
            return self.peek(register)
        self._polls = False
        level = self._serve()
        if level is not None:
            self._ended()
        self._show_int()
        return 0 if level is None else 0x80 | level

    def peek(self, register: int) -> int:
        if self._polls:
            level = self._wanted()
            return 0 if level is None else 0x80 | level
        if register == 1:
            return self._mask
        return self._service if self._reads_service else self.requests

    def state(self) -> str:
        if self._expected is not Expected.MASK:
            return f"awaits {self._expected.value}"
        role = "slave" if self._is_slave else "master" if self._has_others else "alone"
        return (
            f"{role}, IRR {self.requests:02X}, ISR {self._service:02X}, IMR {self._mask:02X}, "
            f"IR{(self._lowest + 1) & 7} highest"
        )
