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
nothing and INT is low; ICW1 clears ISR as well, and ends rotation in automatic EOI;
a poll with nothing to serve gives 00; an IR with no wire is low; in special mask mode
a masked level in service holds nothing back.  Inputs are looked at when an INTA cycle
begins; automatic EOI comes with the end of the last pulse.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.schedule import Event
from emu85.board.square_wave import SquareWave

CALL = 0xCD
ICW1, OCW3 = 0x10, 0x08
"""Bits that tell a command word written at A0 = 0 from the others."""
LEVELS = 0x08
"""Bit of ICW1: requests are levels, not edges."""
INTA = 3
"""T-states from the beginning of an INTA cycle to the trailing edge of its pulse."""
DEFAULT_LEVEL = 7
"""What is given when the request has gone by the time it is acknowledged."""
UNTOLD = 7
"""The number of a slave that ICW3 has not told its own."""

_REQUEST = {f"ir{n}": 1 << n for n in range(8)}
_NONE = 8
"""The rank of no level at all: behind every other."""
_FIRST = (_NONE, *((ranks & -ranks).bit_length() - 1 for ranks in range(1, 256)))
"""The first of a set of ranks, a bit each."""


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


class _Clocked:
    """A request input with a clock on it, followed from edge to edge.

    Attributes:
        level: after the edges that were seen to.
        next_t: T-state of the edge after those.
    """

    def __init__(self, wave: SquareWave, level: int, now: int) -> None:
        """``level`` is what the input had before the wave."""
        self._wave = wave
        self._number = 0
        self.level = level
        self._follow(now)

    def passes(self, t: int) -> bool:
        """See to the edges before T-state ``t``; whether there were any."""
        if self.next_t >= t:
            return False
        self._follow(t - 1)
        return True

    def _follow(self, t: int) -> None:
        self._number = self._wave.next_edge(t)
        self.next_t = self._wave.edge(self._number)
        if self._number:  # the edges of even numbers rise, so what follows tells the level
            self.level = self._number & 1


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
        **{f"cas{n}": f"cascade bit {n}, looked at by a slave" for n in range(3)},
        "sp": "high in a master, low in a slave; high if not wired",
    }
    clock_inputs: ClassVar[Mapping[str, str]] = {
        pin: f"interrupt request {n}" for n, pin in enumerate(_REQUEST)
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
        self._clocked: dict[int, _Clocked] = {}
        self._edge_event: Event | None = None
        self._begin_again()
        self._find_role()
        self.site.drive("int", 0)

    def _begin_again(self) -> None:
        """What ICW1 does besides being kept."""
        self._edges = self._mask = self._service = 0
        self._lowest = 7
        self._special_mask = self._reads_service = self._polls = False
        self._rotates = False
        self._icw3, self._icw4 = UNTOLD, 0
        self._pulse = 0
        self._acknowledged = DEFAULT_LEVEL

    # --- command words ------------------------------------------------------

    def write(self, register: int, value: int) -> None:
        self._catch_up(self.site.schedule.now)
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
        self._await_edge()

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
        rank = self._first(self._holding_back)
        if rank == _NONE:
            return
        level = self._ranked(rank)
        self._service &= ~(1 << level)
        if rotate:
            self._lowest = level

    # --- priorities ---------------------------------------------------------

    @property
    def requests(self) -> int:
        """IRR: edges whose input is still high, or the levels themselves."""
        return self._inputs if self._icw1 & LEVELS else self._edges

    def _first(self, levels: int) -> int:
        """The rank of the highest priority in a set of levels, 0 to 7; 8 if there is none."""
        return _FIRST[levels * 0x101 >> self._lowest + 1 & 0xFF]

    def _ranked(self, rank: int) -> int:
        """The level of a rank."""
        return rank + self._lowest + 1 & 7

    @property
    def _holding_back(self) -> int:
        """Levels in service that hold back others."""
        return self._service & ~(self._mask if self._special_mask else 0)

    def _wanted(self) -> int | None:
        """The level to be served next, if one may interrupt now."""
        asking = self.requests & ~self._mask
        if not asking:
            return None
        rank = self._first(asking)
        level = self._ranked(rank)
        serving = self._first(self._holding_back) if self._service else _NONE
        if rank < serving:
            return level
        is_let_through = rank == serving and self._is_special_nested and self._has_slave(level)
        return level if is_let_through and not self._special_mask else None

    def _serve(self) -> int | None:
        """Take the level to be served into service; its edge is used up."""
        level = self._wanted()
        if level is not None:
            self._service |= 1 << level
            self._edges &= ~(1 << level)
            self._show_int()
        return level

    def _ended(self) -> None:
        """The acknowledge is over: automatic EOI."""
        if self._is_automatic:
            self._end_highest(rotate=self._rotates)
            self._show_int()

    # --- the acknowledge ----------------------------------------------------

    def acknowledge(self) -> int | None:
        if self._expected is not Expected.MASK:
            return None
        self._pulse += 1
        return self._second_mode() if self._icw4 & 0x01 else self._call()

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
        self._catch_up(self.site.schedule.now)
        level = self._serve()
        self._acknowledged = DEFAULT_LEVEL if level is None else level

    def _last_pulse(self, mine: bool) -> None:
        """The acknowledge is over when this cycle ends."""
        self._pulse = 0
        leads = not self._is_slave and self._has_slave(self._acknowledged)
        ends = self._is_automatic and (mine or leads)
        if not (leads or ends):
            return

        def trailing_edge() -> None:
            if leads:
                self._put_cas(0)
            if ends:
                self._ended()

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

    def _find_role(self) -> None:
        """By ICW1, ICW4 and SP; kept, since each pulse of an acknowledge asks for it."""
        self._has_others = not self._icw1 & 0x02
        is_told = self._icw4 & 0x08
        is_master = self._icw4 & 0x04 if is_told else self._sp
        self._is_slave = self._has_others and not is_master

    @property
    def _is_addressed(self) -> bool:
        return self._cas == self._icw3 & 7

    def _has_slave(self, level: int) -> bool:
        return self._has_others and not self._is_slave and bool(self._icw3 >> level & 1)

    @property
    def _is_automatic(self) -> bool:
        return bool(self._icw4 & 0x02)

    @property
    def _is_special_nested(self) -> bool:
        return bool(self._icw4 & 0x10)

    def _take_role(self) -> None:
        """A master drives the cascade lines, a slave listens."""
        self._find_role()
        if self._is_slave:
            for n in range(3):
                self.site.release(f"cas{n}")
        else:
            self._put_cas(0)

    def _put_cas(self, number: int) -> None:
        for n in range(3):
            self.site.drive(f"cas{n}", number >> n & 1)

    # --- requests -----------------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        bit = _REQUEST.get(pin)
        if bit:
            self._request(bit, level)
            self._show_int()
        elif pin == "sp":
            self._sp = level
            self._find_role()
        else:
            bit = 1 << int(pin[-1])
            self._cas = self._cas & ~bit | (bit if level else 0)

    def _request(self, bit: int, level: int) -> None:
        """A request input is at a level now."""
        if level:
            self._edges |= bit & ~self._inputs
            self._inputs |= bit
        else:
            self._edges &= ~bit
            self._inputs &= ~bit

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        """A request that comes and goes with a clock needs no event while it is masked."""
        now = self.site.schedule.now
        self._catch_up(now + 1)
        bit = _REQUEST[pin]
        if period is None:
            self._clocked.pop(bit, None)
        else:
            level = int(self._inputs & bit != 0)
            clocked = self._clocked[bit] = _Clocked(SquareWave(period, start_t, high), level, now)
            self._request(bit, clocked.level)
        self._show_int()
        self._await_edge()

    def _catch_up(self, t: int) -> None:
        """See to the edges of clocks before T-state ``t``."""
        for bit, clocked in self._clocked.items():
            if clocked.passes(t):
                self._request(bit, 0)
                self._request(bit, clocked.level)  # high: it has risen since

    def _await_edge(self) -> None:
        """Look again when a clock that may interrupt has its next edge."""
        edges = [clocked.next_t for bit, clocked in self._clocked.items() if not bit & self._mask]
        t = min(edges) if edges and self._expected is Expected.MASK else None
        if self._edge_event:
            if self._edge_event.t == t:
                return
            self._edge_event.cancel()
        self._edge_event = None if t is None else self.site.schedule.at(t, self._see_edge)

    def _see_edge(self) -> None:
        self._edge_event = None
        self._catch_up(self.site.schedule.now + 1)
        self._show_int()
        self._await_edge()

    # --- INT and reads ------------------------------------------------------

    def _show_int(self) -> None:
        level = int(self._expected is Expected.MASK and self._wanted() is not None)
        if level != self._int:
            self._int = level
            self.site.drive("int", level)

    def read(self, register: int) -> int:
        if not self._polls:
            return self.peek(register)
        self._catch_up(self.site.schedule.now)
        self._polls = False
        level = self._serve()
        if level is not None:
            self._ended()
        return 0 if level is None else 0x80 | level

    def peek(self, register: int) -> int:
        self._catch_up(self.site.schedule.now)
        if self._polls:
            level = self._wanted()
            return 0 if level is None else 0x80 | level
        if register == 1:
            return self._mask
        return self._service if self._reads_service else self.requests

    def state(self) -> str:
        self._catch_up(self.site.schedule.now)
        role = "master" if self._has_others else "alone"
        if self._is_slave:
            role = f"slave {self._icw3 & 7}"
        if self._expected is Expected.NOTHING:
            return f"awaits {self._expected.value}"
        if self._expected is not Expected.MASK:
            return f"{role}, awaits {self._expected.value}"
        return (
            f"{role}, IRR {self.requests:02X}, ISR {self._service:02X}, IMR {self._mask:02X}, "
            f"IR{self._ranked(0)} highest"
        )
