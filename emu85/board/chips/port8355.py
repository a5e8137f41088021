"""8355 and 8755A: 2048 bytes of ROM or EPROM and two ports of eight bits.

Data sheets: Intel 8355/8355-2 16,384-bit ROM with I/O; Intel 8755A/8755A-2
16,384-bit EPROM with I/O.  Values from memory.

Modelled: the program memory; ports A and B, each pin an input or output by its bit
in the data direction register (1 is an output); a write to a port that loads all
bits of the output latch whatever their direction; a read that gives output bits as
latched and input bits as the pins are; RESET, which makes all pins inputs.

Not modelled: the READY output (give ``waits`` and ``memory-waits`` instead) and the
programming voltage of the 8755A.  Choices, where the data sheets are silent: the
output latches keep their bits through RESET; the data direction registers, which
can only be written, float when read.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from emu85.board.device import Device, MemoryPart, Read, Register, Site
from emu85.board.port_pins import PortPins

DIRECTIONS = 2
"""Register number of port A's data direction register; port B's follows."""
LETTERS = "ab"

PINS = {f"p{port}{bit}": f"port {port.upper()}, bit {bit}" for port in LETTERS for bit in range(8)}


class Port8355(Device):
    """The ports; the board keeps the ROM."""

    kind = "8355"
    about = "8355: ROM of 2K and two ports with a direction for each bit"
    registers = (
        Register("port A", "bits on pa0-pa7", Read.LIVE, written=True),
        Register("port B", "bits on pb0-pb7", Read.LIVE, written=True),
        Register("direction A", "a 1 makes the bit of port A an output", written=True),
        Register("direction B", "a 1 makes the bit of port B an output", written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = PINS
    inputs: ClassVar[Mapping[str, str]] = PINS
    memory_part = MemoryPart(2048, "rom")

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._latch = [0, 0]
        self._directions = [0, 0]
        self._pins = [0xFF, 0xFF]
        self._out = [PortPins(site, letter) for letter in LETTERS]

    def power(self) -> None:
        self._latch = [0, 0]
        self._pins = [0xFF, 0xFF]
        for pins in self._out:
            pins.forget()
        self.reset()

    def reset(self) -> None:
        self._directions = [0, 0]
        for port in range(2):
            self._show(port)

    def peek(self, register: int) -> int:
        outs = self._directions[register]
        return self._latch[register] & outs | self._pins[register] & ~outs

    def read(self, register: int) -> int:
        return self.peek(register)

    def write(self, register: int, value: int) -> None:
        of, port = divmod(register, DIRECTIONS)
        changes = self._directions if of else self._latch
        changes[port] = value
        self._show(port)

    def sense(self, pin: str, level: int) -> None:
        port, bit = LETTERS.index(pin[1]), int(pin[2])
        self._pins[port] = self._pins[port] & ~(1 << bit) | level << bit

    def _show(self, port: int) -> None:
        self._out[port].show(self._directions[port], self._latch[port])

    def state(self) -> str:
        shown = [
            f"{letter.upper()} {self.peek(port):02X} (outputs {self._directions[port]:02X})"
            for port, letter in enumerate(LETTERS)
        ]
        return ", ".join(shown)


class Port8755(Port8355):
    """The same with an EPROM."""

    kind = "8755"
    about = "8755A: EPROM of 2K and two ports with a direction for each bit"
