"""16550 UART with FIFOs.

Data sheet: National Semiconductor PC16550D Universal Asynchronous
Receiver/Transmitter with FIFOs.  Values from memory.

Modelled: all registers; the divisor behind DLAB from a clock at XIN (or the option
``xin``), BAUDOUT, a receiver clock of its own at RCLK; 5 to 8 bits, every parity,
stop bits, break; line status with its errors, in FIFO mode those of the character at
the top and bit 7 for the rest; FIFOs of 16 with trigger levels, character time-out
after four character times, and the delay of the transmitter interrupt after a lone
byte; interrupt identification by priority and what ends each interrupt; modem lines
with their deltas; loopback; RXRDY and TXRDY in both modes; scratch.

Not modelled: propagation delays; the few clocks between a write to an idle
transmitter and the start bit (the byte moves on at once, so THRE is set again at
once); the second look at a start bit after a framing error (the next fall of the line
is looked for); writes to the line and modem status, which are for the maker's tests
(they are lost here, and a finding); parity of a character with a framing error.
Choices: CTS, DSR and DCD are tied low and RI is tied high where the board file does
not wire them; a divisor of 0 stops the transmitter and the receiver; the divisor is 0
when power comes on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board.async_wire import AsyncReceiver, AsyncSender
from emu85.board.device import Device, Read, Register, Site
from emu85.board.frames import MARK, SPACE, Arrival, Frame, Framing
from emu85.board.kinds import Key, frequency
from emu85.board.schedule import Event, nearest_t
from emu85.board.serial_faults import AT_CHIP, OVERRUN

DATA, ENABLE, IDENT, LINE, MODEM, LINE_STATUS, MODEM_STATUS, SCRATCH = range(8)
FIFO_CONTROL = IDENT
TRIGGERS = (1, 4, 8, 14)
FIFO_SIZE = 16
TIME_OUT = 4
"""Character times without a character or a read until the time-out."""


class Enable:
    """Bits of the interrupt enable register."""

    RECEIVED = 0x01
    HOLDING_EMPTY = 0x02
    LINE_STATUS = 0x04
    MODEM_STATUS = 0x08


class LineStatus:
    """Bits of the line status register.  Plain numbers, which are quicker than flags."""

    DATA_READY = 0x01
    OVERRUN = 0x02
    PARITY = 0x04
    FRAMING = 0x08
    BREAK = 0x10
    HOLDING_EMPTY = 0x20
    EMPTY = 0x40
    FIFO_ERROR = 0x80


class Modem:
    """Bits of the modem control register."""

    DTR = 0x01
    RTS = 0x02
    OUT1 = 0x04
    OUT2 = 0x08
    LOOP = 0x10


ERRORS = LineStatus.OVERRUN | LineStatus.PARITY | LineStatus.FRAMING | LineStatus.BREAK
DLAB, SET_BREAK = 0x80, 0x40

# Interrupt identifications, in order of priority.
NONE, OF_LINE, OF_DATA, OF_TIME_OUT, OF_HOLDING, OF_MODEM = 0x01, 0x06, 0x04, 0x0C, 0x02, 0x00

_STATUS_PINS = ("intrpt", "rxrdy", "txrdy")
_MODEM_PINS = {"dtr": Modem.DTR, "rts": Modem.RTS, "out1": Modem.OUT1, "out2": Modem.OUT2}
_CTS, _DSR, _RI, _DCD = 0x10, 0x20, 0x40, 0x80
_INPUTS = {"cts": _CTS, "dsr": _DSR, "ri": _RI, "dcd": _DCD}
_LOOPED = {Modem.RTS: _CTS, Modem.DTR: _DSR, Modem.OUT1: _RI, Modem.OUT2: _DCD}
"""Modem status bit that each output gives in loopback."""


def framing_of(line: int) -> Framing:
    """The format that a line control register asks for."""
    bits = 5 + (line & 3)
    parity = ("O", "E", "M", "S")[line >> 4 & 3] if line & 0x08 else "N"
    longer = Fraction(3, 2) if bits == 5 else Fraction(2)
    return Framing(bits, parity, longer if line & 0x04 else Fraction(1))


class Uart16550(Device):
    """One event a character each way, and one for a time-out."""

    kind = "16550"
    about = "a UART with FIFOs, modem lines and its own baud rate generator"
    options = (
        Key(
            "xin",
            frequency(Fraction(1000), Fraction(50_000_000)),
            "the crystal at XIN, if no wire brings a clock there",
        ),
    )
    registers = (
        Register("data", "received and to send; divisor low if DLAB", Read.LIVE, True),
        Register("interrupts", "enable; divisor high if DLAB", Read.PUBLISHED, True),
        Register("ident", "read: identification; write: FIFO control", Read.WATCHED, True),
        Register("line", "format, break, DLAB", Read.PUBLISHED, True),
        Register("modem", "outputs, loopback", Read.PUBLISHED, True),
        Register("line status", "ready, errors, empty", Read.WATCHED),
        Register("modem status", "inputs and their changes", Read.WATCHED),
        Register("scratch", "a byte that nothing uses", Read.PUBLISHED, True),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        "intrpt": "high while an enabled interrupt is pending",
        "dtr": "active low",
        "rts": "active low",
        "out1": "active low",
        "out2": "active low",
        "rxrdy": "active low, for DMA: characters to fetch",
        "txrdy": "active low, for DMA: room for characters",
        "baudout": "16 times the baud rate",
    }
    inputs: ClassVar[Mapping[str, str]] = {
        "cts": "active low; tied low if not wired",
        "dsr": "active low; tied low if not wired",
        "dcd": "active low; tied low if not wired",
        "ri": "active low; tied high if not wired",
    }
    clock_inputs: ClassVar[Mapping[str, str]] = {
        "xin": "clock of the baud rate generator",
        "rclk": "16 times the receiver's rate; BAUDOUT if not wired",
    }
    frame_inputs: ClassVar[Mapping[str, str]] = {"sin": "serial data in"}
    frame_outputs: ClassVar[Mapping[str, str]] = {"sout": "serial data out"}
    serial_pins = ("sin", "sout")

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        rate: Fraction | None = options["xin"]
        self._crystal = site.clock / rate if rate else None
        self._sender = AsyncSender(self._put, self._sent)
        self._receiver = AsyncReceiver(self._arrive)
        self._clocks: dict[str, Fraction | None] = {}
        self._levels: dict[str, int] = {}
        self._divisor = self._scratch = self._data = 0
        self._has_wires = False
        self._start()

    def _start(self) -> None:
        """What master reset puts right."""
        self._enabled = 0
        self._line = 0
        self._modem = 0
        self._status_errors = 0
        self._deltas = 0
        self._shown: tuple[int, ...] = ()
        self._is_fifo = False
        self._dma_mode = self._trigger = 0
        self._received: deque[tuple[int, int]] = deque()
        self._to_send: deque[int] = deque()
        self._most_to_send = 0
        self._asks_holding = False
        self._timed_out = False
        self._fetching = False
        self._time_out: Event | None = None
        self._delayed: Event | None = None

    # --- board ------------------------------------------------------------------

    def power(self) -> None:
        self._clocks = {"xin": self._crystal, "rclk": None}
        self._levels = {"cts": 0, "dsr": 0, "dcd": 0, "ri": 1, "sin": MARK}
        self._divisor = self._scratch = self._data = 0
        self._has_wires = any(self.site.is_wired(pin) for pin in _STATUS_PINS)
        self._sender.power(self.site.schedule)
        self._receiver.power(self.site.schedule)
        self._start()
        self._inputs = self._modem_inputs()
        self._fit()
        self._drive_modem()
        self._show_all()

    def reset(self) -> None:
        self._sender.stop()
        for event in (self._time_out, self._delayed):
            if event:
                event.cancel()
        self._start()
        self._inputs = self._modem_inputs()
        self._fit()
        self._drive_modem()
        self._show_all()

    def sense(self, pin: str, level: int) -> None:
        self._levels[pin] = level
        if pin == "sin":
            if not self._modem & Modem.LOOP:
                self._receiver.level(level)
            return
        self._note_inputs()
        self._show()

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        self._clocks[pin] = period
        self._fit()
        self._load()

    def sense_frame(self, pin: str, frame: Frame) -> None:
        if not self._modem & Modem.LOOP:
            self._receiver.take(frame)

    # --- registers --------------------------------------------------------------

    def read(self, register: int) -> int:
        if register == DATA:
            return self._divisor & 0xFF if self._line & DLAB else self._fetch()
        value = self.peek(register)
        if register == IDENT and value & 0x0F == OF_HOLDING:
            self._asks_holding = False
        elif register == LINE_STATUS:
            self._status_errors = 0
            if self._received:
                self._received[0] = (self._received[0][0], 0)
        elif register == MODEM_STATUS:
            self._deltas = 0
        self._show()
        return value

    def peek(self, register: int) -> int:
        if register == IDENT:
            return self._ident() | (0xC0 if self._is_fifo else 0)
        if register == LINE_STATUS:
            return self._line_status()
        if register == MODEM_STATUS:
            return self._inputs | self._deltas
        if self._line & DLAB:
            return self._divisor & 0xFF
        return self._received[0][0] if self._received else self._data

    def write(self, register: int, value: int) -> None:
        if register <= ENABLE and self._line & DLAB:
            shift = 8 * register
            self._divisor = self._divisor & ~(0xFF << shift) | value << shift
            self._fit()
        elif register == DATA:
            self._write_data(value)
        elif register == ENABLE:
            self._write_enable(value & 0x0F)
        elif register == FIFO_CONTROL:
            self._write_fifo_control(value)
        elif register == LINE:
            self._line = value
            self._fit()
            self._rest()
        elif register == MODEM:
            self._write_modem(value & 0x1F)
        else:
            self._scratch = value
        self._load()
        if register == DATA:
            self._show()
        else:
            self._show_all()

    def _write_data(self, value: int) -> None:
        room = FIFO_SIZE if self._is_fifo else 1
        if len(self._to_send) < room:
            self._to_send.append(value)
        elif not self._is_fifo:
            self._to_send[0] = value
        if not self._sender.busy and self._sender.bit_time is not None:
            waiting = len(self._to_send) - 1  # one moves on at once
        else:
            waiting = len(self._to_send)
        self._most_to_send = max(self._most_to_send, waiting)
        self._ask_holding(False)

    def _write_enable(self, enabled: int) -> None:
        is_new = enabled & ~self._enabled & Enable.HOLDING_EMPTY
        self._enabled = enabled
        if is_new and not self._to_send:
            self._asks_holding = True

    def _write_fifo_control(self, value: int) -> None:
        is_fifo = bool(value & 1)
        changes = is_fifo != self._is_fifo
        self._is_fifo = is_fifo
        if changes or (is_fifo and value & 2):
            self._received.clear()
            self._stop_time_out()
        if changes or (is_fifo and value & 4):
            if self._to_send:
                self._ask_holding(True)
            self._to_send.clear()
            self._most_to_send = 2 if changes else 0  # the first interrupt is not delayed
        if is_fifo:
            self._dma_mode = value >> 3 & 1
            self._trigger = value >> 6
        else:
            self._dma_mode = self._trigger = 0

    def _write_modem(self, modem: int) -> None:
        turned = (self._modem ^ modem) & Modem.LOOP
        self._modem = modem
        self._drive_modem()
        self._note_inputs()
        if turned:
            self._receiver.power(self.site.schedule)
            self._rest()
            if not modem & Modem.LOOP:
                self._receiver.level(self._levels["sin"])

    # --- what is shown --------------------------------------------------------------

    def _line_status(self) -> int:
        status = self._status_errors
        if self._received:
            status |= LineStatus.DATA_READY
        if not self._to_send:
            status |= LineStatus.HOLDING_EMPTY
            if not self._sender.busy:
                status |= LineStatus.EMPTY
        if self._is_fifo and any(errors for _, errors in self._received):
            status |= LineStatus.FIFO_ERROR
        return status

    def _ident(self) -> int:
        enabled = self._enabled
        if enabled & Enable.LINE_STATUS and self._status_errors:
            return OF_LINE
        if enabled & Enable.RECEIVED and self._received:
            if len(self._received) >= self._level:
                return OF_DATA
            if self._timed_out:
                return OF_TIME_OUT
        if enabled & Enable.HOLDING_EMPTY and self._asks_holding:
            return OF_HOLDING
        if enabled & Enable.MODEM_STATUS and self._deltas:
            return OF_MODEM
        return NONE

    @property
    def _level(self) -> int:
        return TRIGGERS[self._trigger] if self._is_fifo else 1

    def _show(self) -> None:
        """Registers and pins that change by themselves."""
        publish, watch, drive = self.site.publish, self.site.watch_reads, self.site.drive
        ident, line_status = self._ident(), self._line_status()
        modem_status = self._inputs | self._deltas
        fetch, room = self._wants_fetching(), self._has_room()
        shown = ident, line_status, modem_status, self._is_fifo, fetch, room
        if shown == self._shown:
            return
        self._shown = shown
        publish(IDENT, ident | (0xC0 if self._is_fifo else 0))
        publish(LINE_STATUS, line_status)
        publish(MODEM_STATUS, modem_status)
        watch(IDENT, ident == OF_HOLDING)
        watch(LINE_STATUS, line_status & (ERRORS | LineStatus.FIFO_ERROR) != 0)
        watch(MODEM_STATUS, self._deltas != 0)
        if not self._has_wires:
            return
        drive("intrpt", int(ident != NONE))
        drive("rxrdy", int(not fetch))
        drive("txrdy", int(not room))

    def _show_all(self) -> None:
        """Also what only a write changes."""
        publish = self.site.publish
        publish(ENABLE, self._divisor >> 8 if self._line & DLAB else self._enabled)
        publish(LINE, self._line)
        publish(MODEM, self._modem)
        publish(SCRATCH, self._scratch)
        self._show()

    def _wants_fetching(self) -> bool:
        if not self._dma_mode:
            return bool(self._received)
        # Once begun, it goes on until the FIFO is empty.
        begins = len(self._received) >= self._level or self._timed_out
        self._fetching = bool(self._received) and (self._fetching or begins)
        return self._fetching

    def _has_room(self) -> bool:
        if not self._dma_mode:
            return not self._to_send
        return len(self._to_send) < FIFO_SIZE

    # --- transmitter ----------------------------------------------------------------

    def _fit(self) -> None:
        """Speeds and formats follow clocks, divisor and line control."""
        framing = framing_of(self._line)
        xin = self._clocks.get("xin")
        baudout = xin * self._divisor if xin and self._divisor else None
        rclk = self._clocks.get("rclk") or baudout
        self._sender.framing = framing
        self._sender.bit_time = baudout and baudout * 16
        self._receiver.set(rclk and rclk * 16, framing)
        self.site.drive_clock("baudout", baudout, self.site.schedule.now)

    def _load(self) -> None:
        """Begin the next character if there is one and the last is out."""
        if not self._to_send or self._sender.busy or self._sender.bit_time is None:
            return
        value = self._to_send.popleft()
        self._sender.send(value)
        if not self._to_send:
            self._holding_emptied()

    def _holding_emptied(self) -> None:
        is_lone = self._is_fifo and self._most_to_send < 2
        self._most_to_send = 0
        if not is_lone:
            self._ask_holding(True)
            return
        # One character time less the last stop bit, which keeps lone bytes cheap.
        assert self._sender.bit_time is not None
        wait = (self._sender.framing.length - 1) * self._sender.bit_time
        self._delayed = self.site.schedule.after(nearest_t(wait), self._ask_late)

    def _ask_late(self) -> None:
        self._delayed = None
        self._asks_holding = not self._to_send
        self._show()

    def _ask_holding(self, asks: bool) -> None:
        if self._delayed:
            self._delayed.cancel()
            self._delayed = None
        if self._asks_holding != asks:
            self._asks_holding = asks
            self._show()

    def _put(self, frame: Frame) -> None:
        if self._modem & Modem.LOOP:
            self._receiver.take(frame)
        else:
            self.site.send_frame("sout", frame)

    def _sent(self) -> None:
        self._load()
        self._show()

    def _rest(self) -> None:
        """The line between characters: mark, or a break."""
        level = SPACE if self._line & SET_BREAK else MARK
        if self._modem & Modem.LOOP:
            self.site.drive("sout", MARK)
            self._receiver.level(level)
        else:
            self.site.drive("sout", level)

    # --- receiver ---------------------------------------------------------------------

    def _arrive(self, arrival: Arrival) -> None:
        errors = _errors_of(arrival, self._receiver.framing)
        if arrival.fault in AT_CHIP:
            self.site.note(AT_CHIP[arrival.fault], self.name)
        if self._is_fifo and len(self._received) == FIFO_SIZE:
            self._status_errors |= LineStatus.OVERRUN
            self.site.note(OVERRUN, self.name)
            self._show()
            return
        if not self._is_fifo and self._received:
            errors |= LineStatus.OVERRUN
            self.site.note(OVERRUN, self.name)
            self._received.clear()
        self._received.append((arrival.value, errors))
        if len(self._received) == 1:
            self._status_errors |= errors
        if not self._timed_out:
            self._await_time_out()
        self._show()

    def _fetch(self) -> int:
        if self._received:
            self._data, _ = self._received.popleft()
            if self._received:
                self._status_errors |= self._received[0][1]
        self._await_time_out()
        self._show()
        return self._data

    def _await_time_out(self) -> None:
        self._stop_time_out()
        bit = self._receiver.bit_time
        if self._is_fifo and self._received and bit is not None:
            wait = nearest_t(TIME_OUT * self._receiver.framing.length * bit)
            self._time_out = self.site.schedule.after(wait, self._time_is_out)

    def _stop_time_out(self) -> None:
        self._timed_out = False
        if self._time_out:
            self._time_out.cancel()
            self._time_out = None

    def _time_is_out(self) -> None:
        self._time_out = None
        self._timed_out = True
        self._show()

    # --- modem lines --------------------------------------------------------------------

    def _drive_modem(self) -> None:
        looped = self._modem & Modem.LOOP
        for pin, bit in _MODEM_PINS.items():
            self.site.drive(pin, int(bool(looped) or not self._modem & bit))
        self._rest()

    def _modem_inputs(self) -> int:
        """Bits 4-7 of the modem status."""
        if self._modem & Modem.LOOP:
            return sum(bit for output, bit in _LOOPED.items() if self._modem & output)
        return sum(bit for pin, bit in _INPUTS.items() if not self._levels[pin])

    def _note_inputs(self) -> None:
        before, self._inputs = self._inputs, self._modem_inputs()
        changed = (before ^ self._inputs) >> 4
        if not before & _RI or self._inputs & _RI:  # only the end of a ring counts
            changed &= ~(_RI >> 4)
        self._deltas |= changed

    def state(self) -> str:
        framing, bit = framing_of(self._line), self._sender.bit_time
        speed = "no clock or divisor" if bit is None else f"{float(self.site.clock / bit):.6g} baud"
        fifo = f", FIFO {len(self._received)} in {len(self._to_send)} out" if self._is_fifo else ""
        return (
            f"{speed}, {framing.bits}{framing.parity}{float(framing.stop):g}{fifo}, "
            f"line status {self._line_status():02X}"
        )


def _errors_of(arrival: Arrival, framing: Framing) -> int:
    if arrival.fault == "break":
        odd = framing.parity in "OM"  # all zeros is wrong where the parity bit would be 1
        broken = LineStatus.BREAK | LineStatus.FRAMING
        return broken | LineStatus.PARITY if odd else broken
    faults = {"parity": LineStatus.PARITY, "framing": LineStatus.FRAMING}
    return faults.get(arrival.fault, 0)
