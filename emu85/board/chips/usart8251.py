"""8251A programmable communication interface (USART).

Data sheet: Intel 8251A Programmable Communication Interface.  Values from memory.

Modelled: mode, sync characters and command in the order in which they are written,
internal reset, so that three 00s and a 40 bring the chip back from any state;
asynchronous mode at 1, 16 and 64 clocks a bit, 5 to 8 bits, parity, 1, 1.5 and 2 stop
bits; the speed is what the clocks at TxC and RxC make it; double buffering; TxEN and
CTS, what was written before either went off is still sent; TxRDY as a bit (buffer
empty) and as a pin (and TxEN, and CTS); TxEMPTY; RxRDY held off without RxE; parity,
overrun and framing errors, kept until error reset; send break; break detect after two
character times of space; RTS, DTR, DSR.  Synchronous mode bit by bit: data changes
with the fall of TxC and is sampled at the rise of RxC; one or two sync characters,
sent as fillers; internal hunt, also after the parity bit, with SYNDET until the
status is read; external sync by a rise at SYNDET.  TxC and RxC may also be moved edge
by edge, as by a port bit; the edges are counted then.

Not modelled: CLK and the delays counted in it (the pins follow at once); the phase of
a steady TxC in asynchronous mode (a start bit begins when the character is loaded);
parity of a character with a framing error.  A character on its way when a steady TxC
changes keeps its speed; one that single edges have begun is dropped when TxC becomes a
steady clock.  Choices: CTS and DSR are tied low where the board file does not wire them;
what comes out of RxD before the line was once at mark is no start bit; sync characters
that end a hunt are not given to the CPU, later ones are; stop bits 00 count as one.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, ClassVar, NamedTuple

from emu85.board.async_wire import AsyncReceiver, AsyncSender
from emu85.board.counted_wire import CountedReceiver, CountedSender
from emu85.board.device import Device, Read, Register, Site
from emu85.board.frames import MARK, SPACE, Arrival, Frame, Framing, meaning_of
from emu85.board.schedule import Event, Moment, nearest_t
from emu85.board.serial_faults import AT_CHIP, OVERRUN
from emu85.board.square_wave import SquareWave
from emu85.board.sync_wire import SyncLine

DATA, CONTROL = 0, 1


class Command:
    """Bits of a command instruction."""

    TX_ENABLE = 0x01
    DTR = 0x02
    RX_ENABLE = 0x04
    SEND_BREAK = 0x08
    ERROR_RESET = 0x10
    RTS = 0x20
    INTERNAL_RESET = 0x40
    ENTER_HUNT = 0x80


class Status:
    """Bits of the status.  Plain numbers: a flag of ``enum`` is ten times slower."""

    TX_READY = 0x01
    RX_READY = 0x02
    TX_EMPTY = 0x04
    PARITY = 0x08
    OVERRUN = 0x10
    FRAMING = 0x20
    DETECT = 0x40
    DSR = 0x80


_PIN_OF = {
    "rxrdy": Status.RX_READY,
    "txempty": Status.TX_EMPTY,
    "txrdy": Status.TX_READY,
    "syndet": Status.DETECT,
}


class Expected(enum.Enum):
    """What the next byte written to the control register is."""

    MODE = "mode"
    FIRST_SYNC = "first sync character"
    SECOND_SYNC = "second sync character"
    COMMAND = "command"


class Mode(NamedTuple):
    """A mode instruction taken apart.

    Attributes:
        factor: clocks a bit; 0 in synchronous mode.
        framing: data bits, parity and stop bits.
        external: SYNDET is an input (synchronous mode).
        syncs: sync characters (synchronous mode).
    """

    factor: int
    framing: Framing
    external: bool
    syncs: int


_STOPS = (Fraction(1), Fraction(1), Fraction(3, 2), Fraction(2))


def mode_of(byte: int) -> Mode:
    """What a mode instruction says."""
    parity = ("O", "E")[byte >> 5 & 1] if byte & 0x10 else "N"
    stop = _STOPS[byte >> 6] if byte & 3 else Fraction(1)
    framing = Framing(5 + (byte >> 2 & 3), parity, stop)
    return Mode((0, 1, 16, 64)[byte & 3], framing, bool(byte & 0x40), 1 if byte & 0x80 else 2)


class Usart8251(Device):
    """Asynchronous by frames, a character an event; synchronous bit by bit."""

    kind = "8251A"
    about = "a USART: asynchronous and synchronous serial line"
    registers = (
        Register("data", "write: a character to send; read: the one received", Read.LIVE, True),
        Register("control", "write: mode, then commands; read: status", Read.WATCHED, True),
    )
    outputs: ClassVar[Mapping[str, str]] = {
        "txrdy": "transmit buffer empty, TxEN set and CTS low",
        "rxrdy": "a character is waiting",
        "txempty": "nothing to send",
        "syndet": "sync or break detected",
        "dtr": "active low, by the command",
        "rts": "active low, by the command",
    }
    inputs: ClassVar[Mapping[str, str]] = {
        "cts": "active low: may send; tied low if not wired",
        "dsr": "active low: a status bit; tied low if not wired",
        "syndet": "external sync: a rise begins characters",
    }
    clock_inputs: ClassVar[Mapping[str, str]] = {
        "txc": "transmitter clock",
        "rxc": "receiver clock",
    }
    frame_inputs: ClassVar[Mapping[str, str]] = {"rxd": "serial data in"}
    frame_outputs: ClassVar[Mapping[str, str]] = {"txd": "serial data out"}
    serial_pins = ("rxd", "txd")

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._sender = AsyncSender(lambda frame: site.send_frame("txd", frame), self._sent)
        self._receiver = AsyncReceiver(self._arrive)
        self._clocks: dict[str, SquareWave | None] = {}
        self._clock_levels: dict[str, int] = {}
        self._cts = self._dsr = 0
        self._wired: list[tuple[str, int]] = []
        self._begin()

    def _begin(self) -> None:
        """The state after RESET."""
        self._expected = Expected.MODE
        self._mode = mode_of(0)
        self._command = 0
        self._syncs: list[int] = []
        self._errors = 0
        self._holding: int | None = None
        self._is_owed = False
        self._data = 0
        self._has_data = False
        self._detected = False
        self._shown: tuple[int, int] | None = None
        self.is_synchronous = False
        self._line = SyncLine(self, self.site)
        self._counted_out = CountedSender(self._put_level, self._take_owed)
        self._counted_in = CountedReceiver(self._assemble, self._find_break)
        self._break_event: Event | None = None
        self._frame: Frame | None = None

    # --- board ------------------------------------------------------------------

    def power(self) -> None:
        self._clocks = {"txc": None, "rxc": None}
        self._clock_levels.clear()
        self._cts = self._dsr = 0
        self._wired = [(pin, bit) for pin, bit in _PIN_OF.items() if self.site.is_wired(pin)]
        self._sender.power(self.site.schedule)
        self._receiver.power(self.site.schedule)
        self._begin()
        self._show_all()

    def reset(self) -> None:
        self._sender.stop()
        self._line.stop()
        if self._break_event:
            self._break_event.cancel()
        self._begin()
        self._fit()
        self._show_all()

    def sense(self, pin: str, level: int) -> None:
        if pin == "cts":
            self._cts = level
            self._enable()
        elif pin == "dsr":
            self._dsr = level
        elif pin == "rxd":
            self._receiver.level(level)
            self._look_at_break()
        elif pin in self._clocks:
            self._edge(pin, level)
        elif pin == "syndet" and level and self._mode.external and self.is_synchronous:
            self._line.begin_characters()
        self._show()

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        wave = self._clocks[pin]
        number = wave.next_edge(self.site.schedule.now) if wave and period is None else 0
        if number:  # even ones rise: it stopped at the level before the edge that followed
            self._clock_levels[pin] = number % 2
        self._clocks[pin] = None if period is None else SquareWave(period, start_t, high)
        if pin == "txc" and period is not None and self._counted_out.busy:
            self._counted_out.stop()
            self._put_level(MARK)
        self._fit()

    def _edge(self, pin: str, level: int) -> None:
        """A single edge of a clock, or the level that power came on with."""
        before = self._clock_levels.get(pin, level)
        self._clock_levels[pin] = level
        if before == level or self._expected is not Expected.COMMAND:
            return
        if pin == "txc" and not level:
            self._fall()
        elif pin == "rxc" and level and self._may_receive:
            self._rise_of_clock()

    def sense_frame(self, pin: str, frame: Frame) -> None:
        self._frame = frame
        self._receiver.take(frame)

    # --- registers --------------------------------------------------------------

    def read(self, register: int) -> int:
        if register == CONTROL:
            status = self._status()
            if self.is_synchronous:
                self._detected = False
                self._show()
            return status
        self._has_data = False
        self._show()
        return self._data

    def peek(self, register: int) -> int:
        return self._data if register == DATA else self._status()

    def write(self, register: int, value: int) -> None:
        if register == DATA:
            self._write_data(value)
        elif self._expected is Expected.COMMAND:
            self._write_command(value)
        elif self._expected is Expected.MODE:
            self._write_mode(value)
        else:
            self._write_sync(value)

    def _write_data(self, value: int) -> None:
        self._holding = value
        self._is_owed = self._may_send
        self._load()
        self._show()

    def _write_mode(self, value: int) -> None:
        self._mode = mode_of(value)
        self.is_synchronous = not self._mode.factor
        self._expected = Expected.COMMAND if self._mode.factor else Expected.FIRST_SYNC
        self._fit()

    def _write_sync(self, value: int) -> None:
        self._syncs.append(value & (1 << self._mode.framing.bits) - 1)
        is_more = len(self._syncs) < self._mode.syncs
        self._expected = Expected.SECOND_SYNC if is_more else Expected.COMMAND

    def _write_command(self, command: int) -> None:
        if command & Command.INTERNAL_RESET:
            self.reset()
            return
        self._command = command
        if command & Command.ERROR_RESET:
            self._errors = 0
        if not command & Command.RX_ENABLE:
            self._has_data = False
        if command & Command.ENTER_HUNT and self.is_synchronous:
            self._line.hunt()
        self._fit()
        self._show_all()

    def _status(self) -> int:
        status = self._errors if self._dsr else self._errors | Status.DSR
        if self._holding is None:
            status |= Status.TX_READY
        if self._has_data:
            status |= Status.RX_READY
        if self._detected:
            status |= Status.DETECT
        return status | Status.TX_EMPTY if self._is_empty else status

    @property
    def _is_empty(self) -> bool:
        if self.is_synchronous and self._line.is_sending:
            return self._line.is_filling
        if self._sender.busy or self._counted_out.busy:
            return False
        return self._holding is None or not self._may_send

    # --- what pins show -----------------------------------------------------------

    def _show(self) -> None:
        """Status and the pins that follow it."""
        status = pins = self._status()
        if not self._may_send:
            pins &= ~Status.TX_READY
        if self._shown == (status, pins):
            return
        changed = 0xFF if self._shown is None else self._shown[1] ^ pins
        self._shown = status, pins
        self.site.publish(CONTROL, status)
        if not self._mode.factor:
            self.site.watch_reads(CONTROL, self._detected and self.is_synchronous)
            if self.is_synchronous and self._mode.external:
                changed &= ~Status.DETECT  # an input
        for pin, bit in self._wired:
            if changed & bit:
                self.site.drive(pin, int(pins & bit != 0))

    def _show_all(self) -> None:
        """Also the pins that only a command changes."""
        drive = self.site.drive
        drive("dtr", int(not self._command & Command.DTR))
        drive("rts", int(not self._command & Command.RTS))
        if not self._line.is_sending:
            drive("txd", self.rest_level)
        if self.is_synchronous and self._mode.external:
            self.site.release("syndet")
        self._shown = None
        self._show()

    @property
    def rest_level(self) -> int:
        return SPACE if self._command & Command.SEND_BREAK else MARK

    # --- both modes -----------------------------------------------------------------

    @property
    def _may_send(self) -> bool:
        return bool(self._command & Command.TX_ENABLE) and not self._cts

    @property
    def _may_receive(self) -> bool:
        return self._expected is Expected.COMMAND and bool(self._command & Command.RX_ENABLE)

    def _fit(self) -> None:
        """Speeds and formats follow the clocks, the mode and the command."""
        factor, framing = self._mode.factor, self._mode.framing
        txc, rxc = self._clocks["txc"], self._clocks["rxc"]
        self._sender.framing = framing
        self._sender.bit_time = txc.period * factor if txc and factor else None
        receives = rxc and factor and self._may_receive
        self._receiver.set(rxc.period * factor if rxc and receives else None, framing)
        counts = not rxc and factor and self._may_receive
        self._counted_in.set(factor if counts else None, framing, self.received_level)
        if self.is_synchronous:
            self._line.fit(txc, rxc if self._may_receive else None)
        self._enable()

    def _enable(self) -> None:
        """The transmitter may have been enabled, or have been given a clock."""
        if self._holding is not None and self._may_send:
            self._is_owed = True
        self._load()

    def _load(self) -> None:
        """Move a waiting character on, if it is time."""
        if self._holding is None or not self._is_owed:
            return
        if self.is_synchronous:
            self._line.start()
        elif not self._sender.busy and self._sender.send(self._holding) is not None:
            self._holding = None

    def _sent(self) -> None:
        self._load()
        self._show()

    # --- clocks edge by edge ------------------------------------------------------------

    def _fall(self) -> None:
        """TxC falls."""
        if self.is_synchronous:
            self._line.fall()
        elif not self._sender.busy:
            self._counted_out.fall(self._mode.factor, self._mode.framing)

    def _rise_of_clock(self) -> None:
        """RxC rises."""
        if self.is_synchronous:
            self._line.rise()
        else:
            self._counted_in.rise(self.received_level)

    def _put_level(self, level: int) -> None:
        self.site.drive("txd", level & self.rest_level)

    def _take_owed(self) -> int | None:
        return self.take_waiting() if self._is_owed else None

    def _assemble(self, levels: tuple[int, ...]) -> None:
        now = self.site.schedule.now
        self._arrive(Arrival(now, now, *meaning_of(self._mode.framing, levels)))

    # --- synchronous (emu85.board.sync_wire.Owner) --------------------------------------

    def take_waiting(self) -> int | None:
        value, self._holding = self._holding, None
        return value

    @property
    def keeps_sending(self) -> bool:
        return self._may_send or (self._holding is not None and self._is_owed)

    def assembled(self, value: int, *, is_wrong: bool) -> None:
        if is_wrong:
            self.site.note(AT_CHIP["parity"], self.name)
        self._receive(value, Status.PARITY if is_wrong else 0)

    def changed(self) -> None:
        self._show()

    def detected(self) -> None:
        self._detected = True
        self._show()

    @property
    def framing(self) -> Framing:
        return self._mode.framing

    @property
    def syncs(self) -> Sequence[int]:
        return () if self._mode.external else self._syncs

    @property
    def fillers(self) -> Sequence[int]:
        return self._syncs

    @property
    def received_level(self) -> int:
        return self._receiver.line_at(Fraction(self.site.schedule.now))

    def _receive(self, value: int, errors: int) -> None:
        """A character has been assembled."""
        if self._has_data:
            errors |= Status.OVERRUN
            self.site.note(OVERRUN, self.name)
        self._errors |= errors
        self._data = value
        self._has_data = True
        self._show()

    # --- asynchronous ---------------------------------------------------------------

    def _arrive(self, arrival: Arrival) -> None:
        errors = 0
        is_break = arrival.fault == "break"
        if arrival.fault in AT_CHIP:
            self.site.note(AT_CHIP[arrival.fault], self.name)
        if arrival.fault == "parity" or (is_break and self._mode.framing.parity == "O"):
            errors |= Status.PARITY
        if is_break or arrival.fault == "framing":
            errors |= Status.FRAMING
        if is_break and self._receiver.bit_time is not None:
            wait = nearest_t(self._mode.framing.length * self._receiver.bit_time)
            self._break_event = self.site.schedule.after(wait, self._find_break)
        self._receive(arrival.value, errors)

    def _find_break(self) -> None:
        """A second character time of space has passed since the first, or it has not."""
        self._break_event = None
        if self._receiver.busy or self.received_level == MARK or not self._may_receive:
            return
        self._detected = True
        rise = self._rise()
        if rise is not None:
            self._break_event = self.site.schedule.at(nearest_t(rise), self._look_at_break)
        self._show()

    def _rise(self) -> Moment | None:
        """When the frame on the line next goes to mark; None if it is there already."""
        if self._frame is None:
            return None
        now = self.site.schedule.now
        for number, level in enumerate(self._frame.levels):
            at = self._frame.start + number * self._frame.bit_time
            if level == MARK and at > now:
                return at
        return self._frame.end if self._frame.end > now else None

    def _look_at_break(self) -> None:
        if self._detected and not self.is_synchronous and self.received_level == MARK:
            self._detected = False
            self._show()

    def state(self) -> str:
        if self._expected is not Expected.COMMAND:
            return f"waits for {self._expected.value}"
        framing = self._mode.framing
        way = f"{self._mode.factor}x" if self._mode.factor else "sync"
        stop = f"{float(framing.stop):g}" if self._mode.factor else ""
        bit = self._sender.bit_time
        speed = "" if bit is None else f", {float(self.site.clock / bit):.6g} baud out"
        if self._clocks["txc"] is None:
            speed = ", no clock at txc"
        return f"{way} {framing.bits}{framing.parity}{stop}{speed}, status {self._status():02X}"
