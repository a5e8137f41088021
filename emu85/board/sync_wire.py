"""The synchronous side of a USART, bit by bit.

Data changes with the fall of the transmitter's clock and is sampled at the rise of
the receiver's, a bit a clock; the clock is a square wave, or its edges come one by
one.  The transmitter begins with the first character that it is given and then never
pauses: where there is no character it sends the sync characters as fillers.  The
receiver hunts for sync characters at every bit, or is told from
outside where characters begin.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Protocol

from emu85.board.device import Site
from emu85.board.frames import Framing
from emu85.board.schedule import Event
from emu85.board.square_wave import SquareWave


class Owner(Protocol):
    """The chip that a synchronous line is part of."""

    @property
    def framing(self) -> Framing:
        """Data bits and parity."""

    @property
    def syncs(self) -> Sequence[int]:
        """Characters that end a hunt; empty if a hunt is ended from outside."""

    @property
    def fillers(self) -> Sequence[int]:
        """Characters that go out when there is none to send."""

    @property
    def rest_level(self) -> int:
        """The level of TxD between characters."""

    @property
    def received_level(self) -> int:
        """The level of RxD now."""

    @property
    def keeps_sending(self) -> bool:
        """Whether the transmitter goes on."""

    def take_waiting(self) -> int | None:
        """The character to send next; None: a filler."""

    def assembled(self, value: int, *, is_wrong: bool) -> None:
        """A character has come in; ``is_wrong``: its parity."""

    def detected(self) -> None:
        """Sync characters have ended a hunt."""

    def changed(self) -> None:
        """Sending or filling has changed."""


class SyncLine:
    """Shift registers moved by the clocks, a bit an event.

    Attributes:
        is_sending: characters go out; when there is none, fillers.
        is_filling: what goes out is a filler.
    """

    def __init__(self, owner: Owner, site: Site) -> None:
        """``site`` is that of the chip; its pin ``txd`` is driven."""
        self._owner = owner
        self._site = site
        self._txc: SquareWave | None = None
        self._rxc: SquareWave | None = None
        self._tx_event: Event | None = None
        self._rx_event: Event | None = None
        self._out: deque[int] = deque()
        self._fillers: deque[int] = deque()
        self.is_sending = False
        self.is_filling = False
        self._is_hunting = False
        self._bits: list[int] = []

    def stop(self) -> None:
        """End everything, as by a reset."""
        for event in (self._tx_event, self._rx_event):
            if event:
                event.cancel()

    def fit(self, txc: SquareWave | None, rxc: SquareWave | None) -> None:
        """Square waves begin or end; ``rxc`` is None while the receiver is off."""
        if txc is not self._txc:
            self._txc = txc
            if self._tx_event:
                self._tx_event.cancel()
            if self.is_sending:
                self._await_fall()
        if rxc is not self._rxc:
            self._rxc = rxc
            if self._rx_event:
                self._rx_event.cancel()
            self._bits = []
            self._await_rise()

    # --- out ------------------------------------------------------------------------

    def start(self) -> None:
        """The first character is there: send, and fill from then on."""
        if not self.is_sending:
            self.is_sending = True
            self._await_fall()

    def fall(self) -> None:
        """The transmitter's clock falls, by a single edge."""
        if self.is_sending:
            self._shift_out()

    def _await_fall(self) -> None:
        if self._txc:
            following = self._txc.next_edge(self._site.schedule.now)
            at = self._txc.edge(following | 1)  # falls have odd numbers
            self._tx_event = self._site.schedule.at(at, self._shift_out)

    def _shift_out(self) -> None:
        if not self._out and not self._load():
            self.is_sending = self.is_filling = False
            self._site.drive("txd", self._owner.rest_level)
            self._owner.changed()
            return
        level = self._out.popleft()
        self._site.drive("txd", level & self._owner.rest_level)
        self._await_fall()

    def _load(self) -> bool:
        """Put the next character, or a filler, into the shift register."""
        if not self._owner.keeps_sending:
            return False
        value = None if self._fillers else self._owner.take_waiting()
        self.is_filling = value is None
        if value is None:
            if not self._fillers:
                self._fillers.extend(self._owner.fillers)
            value = self._fillers.popleft()
        framing = self._owner.framing
        data = [value >> bit & 1 for bit in range(framing.bits)]
        self._out.extend(data)
        if framing.parity != "N":
            self._out.append(framing.parity_of(sum(data)))
        self._owner.changed()
        return True

    # --- in -------------------------------------------------------------------------

    def hunt(self) -> None:
        """Look for the sync characters bit by bit, or wait for SYNDET."""
        self._is_hunting = True
        self._bits = []

    def begin_characters(self) -> None:
        """The next bit is the first of a character."""
        if self._is_hunting:
            self._end_hunt()

    def _end_hunt(self) -> None:
        self._is_hunting = False
        self._bits = []

    def _await_rise(self) -> None:
        if self._rxc:
            following = self._rxc.next_edge(self._site.schedule.now)
            at = self._rxc.edge(following + following % 2)
            self._rx_event = self._site.schedule.at(at, self._shift_in)

    def _shift_in(self) -> None:
        self._await_rise()
        self.rise()

    def rise(self) -> None:
        """The receiver's clock rises: take a bit."""
        self._bits.append(self._owner.received_level)
        if not self._is_hunting:
            self._assemble()
        elif self._owner.syncs:
            self._compare()

    def _assemble(self) -> None:
        framing = self._owner.framing
        if len(self._bits) < self._length:
            return
        bits, self._bits = self._bits, []
        data = bits[: framing.bits]
        is_wrong = framing.parity != "N" and bits[-1] != framing.parity_of(sum(data))
        self._owner.assembled(_value(data), is_wrong=is_wrong)

    def _compare(self) -> None:
        """Whether the bits that came last are the sync characters, parity bits apart."""
        bits, length = self._bits, self._length
        syncs = self._owner.syncs
        del bits[: -length * len(syncs)]
        if len(bits) < length * len(syncs):
            return
        data = self._owner.framing.bits
        found = [_value(bits[n * length : n * length + data]) for n in range(len(syncs))]
        if tuple(found) == tuple(syncs):
            self._end_hunt()
            self._owner.detected()

    @property
    def _length(self) -> int:
        framing = self._owner.framing
        return framing.bits + (framing.parity != "N")


def _value(bits: list[int]) -> int:
    return sum(level << number for number, level in enumerate(bits))
