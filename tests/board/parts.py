"""Devices that tests plug into a board to see what its wires and its map do."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, ClassVar

from emu85.board import (
    AsyncReceiver,
    AsyncSender,
    Device,
    Frame,
    Framing,
    MemoryPart,
    Read,
    Register,
    Site,
)
from emu85.board.frames import Arrival


class Probe(Device):
    """Writes down everything its inputs see, with the T-state."""

    kind = "probe"
    about = "writes down what it sees"
    inputs: ClassVar[Mapping[str, str]] = {f"i{n}": f"input {n}" for n in range(8)}
    clock_inputs: ClassVar[Mapping[str, str]] = {"clk": "a clock"}
    frame_inputs: ClassVar[Mapping[str, str]] = {"rx": "characters"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.seen: list[tuple[int, str, int]] = []
        self.clocks: list[tuple[int, Fraction | None, Fraction, Fraction]] = []
        self.frames: list[Frame] = []

    def power(self) -> None:
        self.seen.clear()
        self.clocks.clear()
        self.frames.clear()

    def sense(self, pin: str, level: int) -> None:
        self.seen.append((self.site.schedule.now, pin, level))

    def sense_clock(
        self, pin: str, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        self.clocks.append((self.site.schedule.now, period, start_t, high))

    def sense_frame(self, pin: str, frame: Frame) -> None:
        self.frames.append(frame)

    def of(self, pin: str) -> list[tuple[int, int]]:
        """(T-state, level) of one input."""
        return [(t, level) for t, each, level in self.seen if each == pin]


class Port(Device):
    """Eight bidirectional pins, two open-collector ones, and a frame output."""

    kind = "port"
    about = "pins of every kind"
    outputs: ClassVar[Mapping[str, str]] = {
        **{f"p{n}": f"bit {n}" for n in range(8)},
        "irq0": "request, active low",
        "irq1": "request, active low",
        "out": "push-pull",
    }
    inputs: ClassVar[Mapping[str, str]] = {f"p{n}": f"bit {n}" for n in range(8)}
    open_collector = frozenset({"irq0", "irq1"})
    frame_outputs: ClassVar[Mapping[str, str]] = {"tx": "characters"}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.pins: dict[str, int] = {}

    def power(self) -> None:
        self.pins.clear()

    def sense(self, pin: str, level: int) -> None:
        self.pins[pin] = level


class Uart(Device):
    """Sends what is written to it and keeps what arrives."""

    kind = "uart"
    about = "the least a serial chip can be"
    registers = (Register("data", "write: send; read: the last character", Read.LIVE, True),)
    frame_inputs: ClassVar[Mapping[str, str]] = {"rxd": "characters in"}
    frame_outputs: ClassVar[Mapping[str, str]] = {"txd": "characters out"}
    serial_pins = ("rxd", "txd")

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.arrivals: list[Arrival] = []
        self.queue: list[int] = []
        self.sender = AsyncSender(lambda frame: site.send_frame("txd", frame), self._more)
        self.receiver = AsyncReceiver(self.arrivals.append)
        self.set(Fraction(208), Framing())

    def set(self, bit_time: Fraction | None, framing: Framing) -> None:
        """Speed and format of both directions."""
        self.sender.bit_time, self.sender.framing = bit_time, framing
        self.receiver.set(bit_time, framing)

    def power(self) -> None:
        self.arrivals.clear()
        self.queue.clear()
        self.sender.power(self.site.schedule)
        self.receiver.power(self.site.schedule)

    def sense(self, pin: str, level: int) -> None:
        self.receiver.level(level)

    def sense_frame(self, pin: str, frame: Frame) -> None:
        self.receiver.take(frame)

    def read(self, register: int) -> int:
        return self.peek(register)

    def peek(self, register: int) -> int:
        return self.arrivals[-1].value if self.arrivals else 0

    def write(self, register: int, value: int) -> None:
        self.queue.append(value)
        if not self.sender.busy:
            self._more()

    def _more(self) -> None:
        if self.queue:
            self.sender.send(self.queue.pop(0))


class RamPort(Device):
    """A register with 256 bytes of RAM beside it."""

    kind = "ramport"
    about = "a register and RAM"
    registers = (Register("latch", "what was written", Read.PUBLISHED, True),)
    memory_part = MemoryPart(256, "ram")

    def write(self, register: int, value: int) -> None:
        self.site.publish(0, value)


class RomPort(Device):
    """A register with 2K of ROM beside it."""

    kind = "romport"
    about = "a register and ROM"
    registers = (Register("latch", "what was written", Read.PUBLISHED, True),)
    memory_part = MemoryPart(2048, "rom")

    def write(self, register: int, value: int) -> None:
        self.site.publish(0, value)


PARTS: dict[str, type[Device]] = {
    device.kind: device for device in (Probe, Port, Uart, RamPort, RomPort)
}
