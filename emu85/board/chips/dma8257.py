"""8257 programmable DMA controller.

Data sheet: Intel 8257/8257-5 Programmable DMA Controller.  Values from memory.

Modelled: four channels, each with an address register and a terminal count register
whose upper two bits are the kind of transfer, loaded and read a byte at a time through
the first/last flip-flop, which RESET and a mode set put back; the mode set register with
enable bits, rotating priority, TC stop and auto load, and the extended write bit; the
status with TC bits, which a read clears, and the update flag; HRQ, four T-states a
cycle, bursts while a request lasts, DACK once for each byte, TC and MARK; read, write and
verify cycles.  HRQ goes to HOLD, and HLDA comes back, by wires.

A cycle stands on the trace as one memory read or memory write with HLDA, at its S1: that
is the memory's side.  The peripheral's side has its strobe at the same time and no record;
it is the port given as ``port 0`` to ``port 3``, the register that DACK selects on the
board.  A channel with no port writes what the floating bus gives (FF), and what it reads
goes nowhere; a port whose device gives no byte, or takes none, is a finding.  A verify
cycle has no strobes, so it leaves no record, and the HOLD before it lasts on.

READY is the board's: a cycle has as many wait states between S3 and S4 as the slower of
the memory and the port asks for.  A verify cycle has none.

Not modelled: the early strobe of extended write (a board's wait states are a count, which
no strobe can shorten); AEN and ADSTB (the trace shows the whole address).
Choices, where the data sheet is silent: HRQ rises a T-state after DRQ, S1 is the T-state
after HLDA is seen; DACK, TC and MARK last from the start of S1 to the end of S4; DRQ is
sampled at the end of S4; a request that is gone before HLDA comes ends in no cycle; the kind 11,
which the data sheet forbids, acts as verify.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.kinds import DEVICE_PORT, Key
from emu85.board.schedule import Event
from emu85.bus.cycles import Cycle

CHANNELS = 4
MODE = STATUS = 8

ROTATING, EXTENDED, TC_STOP, AUTO_LOAD = 0x10, 0x20, 0x40, 0x80
UPDATE = 0x10

WRITE, READ = 0b01, 0b10
"""Kinds of transfer, upper two bits of the terminal count; seen from the memory."""

SIDES = {WRITE: (Cycle.MW, Cycle.IOR), READ: (Cycle.MR, Cycle.IOW)}
"""The memory's side and the peripheral's, by kind."""
LOST = {
    Cycle.IOR: "a DMA cycle reads a port where no device answers",
    Cycle.IOW: "a DMA cycle writes to a port where no device takes it",
}

FLOATING = 0xFF
COUNT_BITS = 0x3FFF
MARK_EVERY = 128
CYCLE_T = 4


class Channel:
    """Address, and terminal count with the kind of transfer in bits 15 and 14."""

    def __init__(self) -> None:
        self.address = self.count = 0

    @property
    def left(self) -> int:
        """Cycles to come after the next one until the terminal count."""
        return self.count & COUNT_BITS

    @property
    def kind(self) -> int:
        """Bits 15 and 14 of the terminal count register."""
        return self.count >> 14

    def advance(self) -> None:
        """One cycle is done: the next address, one less to go; both wrap."""
        self.address = (self.address + 1) & 0xFFFF
        self.count = self.count & ~COUNT_BITS | (self.count - 1) & COUNT_BITS

    def copy(self, other: Channel) -> None:
        """Take the other's registers over."""
        self.address, self.count = other.address, other.count


def _registers() -> tuple[Register, ...]:
    found = []
    for channel in range(CHANNELS):
        for what in ("address", "terminal count"):
            about = "low byte, then high byte" + (", bits 6-7 the kind" if "count" in what else "")
            found.append(Register(f"{what} {channel}", about, Read.LIVE, written=True))
    found.append(Register("mode", "write: mode set; read: status", Read.LIVE, written=True))
    return (*found, *[Register("none", "not decoded")] * 7)


class Dma8257(Device):
    """Registers, requests and cycles."""

    kind = "8257"
    about = "8257: DMA controller with four channels"
    options = tuple(Key(f"port {n}", DEVICE_PORT, f"what dack{n} selects") for n in range(CHANNELS))
    registers = _registers()
    outputs: ClassVar[Mapping[str, str]] = {
        "hrq": "hold request",
        **{f"dack{n}": f"acknowledge of channel {n}; active low" for n in range(CHANNELS)},
        "tc": "high in the last cycle of a block",
        "mark": "high in every 128th cycle, counted back from the last",
    }
    inputs: ClassVar[Mapping[str, str]] = {
        **{f"drq{n}": f"request of channel {n}" for n in range(CHANNELS)},
        "hlda": "hold acknowledge",
    }

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._ports: list[int | None] = [options[f"port {n}"] for n in range(CHANNELS)]
        self._start_cold()

    def _start_cold(self) -> None:
        self.channels = [Channel() for _ in range(CHANNELS)]
        self._requests = 0
        self._hlda = 0
        self._clear()

    def _clear(self) -> None:
        self._mode = 0
        self._reached = 0
        self._update = False
        self._is_last = False
        self._hrq = 0
        self._lowest = CHANNELS - 1
        self._event: Event | None = None

    def power(self) -> None:
        self._start_cold()
        self._show_idle()

    def reset(self) -> None:
        if self._event:
            self._event.cancel()
        self._clear()
        self._show_idle()

    def _show_idle(self) -> None:
        for channel in range(CHANNELS):
            self.site.drive(f"dack{channel}", 1)
        for pin in ("tc", "mark", "hrq"):
            self.site.drive(pin, 0)

    # --- the bus ----------------------------------------------------------------

    def peek(self, register: int) -> int:
        if register == STATUS:
            return self._reached | (UPDATE if self._update else 0)
        channel = self.channels[register >> 1]
        value = channel.count if register & 1 else channel.address
        return value >> (8 if self._is_last else 0) & 0xFF

    def read(self, register: int) -> int:
        value = self.peek(register)
        if register == STATUS:
            self._reached = 0
        else:
            self._is_last = not self._is_last
        return value

    def write(self, register: int, value: int) -> None:
        if register == MODE:
            self._set_mode(value)
            return
        self._load(self.channels[register >> 1], register & 1, value)
        if register >> 1 == 2 and self._mode & AUTO_LOAD:
            self._load(self.channels[3], register & 1, value)
        self._is_last = not self._is_last

    def _load(self, channel: Channel, is_count: int, value: int) -> None:
        old = channel.count if is_count else channel.address
        new = old & 0xFF | value << 8 if self._is_last else old & 0xFF00 | value
        if is_count:
            channel.count = new
        else:
            channel.address = new

    def _set_mode(self, value: int) -> None:
        self._mode = value
        self._is_last = False
        if not value & AUTO_LOAD:
            self._update = False
        if not value & ROTATING:
            self._lowest = CHANNELS - 1
        self._look()

    # --- requests ---------------------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        if pin == "hlda":
            self._hlda = level
            if level and self._hrq:
                self._at(1, self._begin)
            return
        bit = 1 << int(pin[3])
        self._requests = self._requests | bit if level else self._requests & ~bit
        self._look()

    @property
    def _wanted(self) -> int:
        """Requests of channels that are enabled, a bit each."""
        return self._requests & self._mode & 0x0F

    def _look(self) -> None:
        """While idle, ask for the bus if somebody wants it."""
        if self._wanted and not self._hrq and self._event is None:
            self._at(1, self._ask)

    def _ask(self) -> None:
        self._event = None
        if self._wanted:
            self._hrq = 1
            self.site.drive("hrq", 1)

    def _at(self, t_states: int, action: Callable[[], None]) -> None:
        self._event = self.site.schedule.after(t_states, action)

    # --- cycles -----------------------------------------------------------------

    def _begin(self) -> None:
        """S1."""
        number = self._next_channel()
        if number is None:
            self._give_back()
            return
        channel = self.channels[number]
        if number == 2 and self._update:
            channel.copy(self.channels[3])
        is_tc = channel.left == 0
        self.site.drive("tc", int(is_tc))
        self.site.drive("mark", int(channel.left % MARK_EVERY == 0))
        self.site.drive(f"dack{number}", 0)
        waits = self._move(channel, number)
        self._at(CYCLE_T + waits, lambda: self._end(number, is_tc))
        channel.advance()

    def _next_channel(self) -> int | None:
        order = [(self._lowest + 1 + n) % CHANNELS for n in range(CHANNELS)]
        return next((n for n in order if self._wanted >> n & 1), None)

    def _move(self, channel: Channel, number: int) -> int:
        """Move a byte; the wait states it takes."""
        if channel.kind not in SIDES:
            return 0
        memory, strobe = SIDES[channel.kind]
        port, site = self._ports[number], self.site
        waits = site.reached(memory, channel.address).waits
        if port is not None:
            found = site.reached(strobe, port)
            waits = max(waits, found.waits)
            if not found.answers:
                site.note(LOST[strobe], f"{self.name}, port {number}: {port:02X}")
        if channel.kind == WRITE:
            value = FLOATING if port is None else site.transfer(strobe, port, noted=False)
            site.transfer(memory, channel.address, value, waits=waits)
        else:
            value = site.transfer(memory, channel.address, waits=waits)
            if port is not None:
                site.transfer(strobe, port, value, noted=False)
        return waits

    def _reach(self, number: int) -> None:
        """The terminal count of a channel."""
        self._reached |= 1 << number
        if number == 2 and self._mode & AUTO_LOAD:
            self._update = True
        elif self._mode & TC_STOP:
            self._mode &= ~(1 << number)

    def _end(self, number: int, is_tc: bool) -> None:
        """The end of S4: what the cycle leaves behind, and whether another follows."""
        if self._mode & ROTATING:
            self._lowest = number
        if number == 2:
            self._update = False
        if is_tc:
            self._reach(number)
        self.site.drive(f"dack{number}", 1)
        self.site.drive("tc", 0)
        self.site.drive("mark", 0)
        if self._wanted and self._hlda:
            self._begin()
        else:
            self._give_back()

    def _give_back(self) -> None:
        self._event = None
        self._hrq = 0
        self.site.drive("hrq", 0)

    def state(self) -> str:
        parts = []
        for number, channel in enumerate(self.channels):
            if self._mode >> number & 1:
                way = {READ: "read", WRITE: "write"}.get(channel.kind, "verify")
                parts.append(f"{number}: {way} at {channel.address:04X}, {channel.left + 1} to go")
        status = f"mode {self._mode:02X}, status {self.peek(STATUS):02X}"
        return "; ".join([status, *parts])
