"""8255A programmable peripheral interface: three ports of eight bits, with handshake.

Data sheet: Intel 8255A/8255A-5 Programmable Peripheral Interface; for reading the
control word, Intel 82C55A CHMOS Programmable Peripheral Interface.  Values from
memory.

Modelled: modes 0, 1 and 2; bit set/reset; the control lines STB, IBF, ACK, OBF and
INTR on port C with their INTE bits; status words read at port C; a mode set clears
the output latches, the status flip-flops and the INTE bits; RESET makes all ports
inputs in mode 0; port A in mode 2 drives its pins only while ACK is low; bit
set/reset of IBF and OBF.  Inputs of port A and B in modes 1 and 2 are latched: the
latch follows the pins while STB is low and keeps what stood there when STB rose.

Not modelled: propagation delays (at most 0.9 us on the chip: here outputs follow at
once) and the bus hold devices of the 82C55A.  Choices, where the data sheet is
silent: IBF is set by the falling edge of STB, so a read ends it though STB may still
be low; the control word of an 8255A, which may not be read, floats; bit set/reset of
an INTR line has no effect; PC3 of a group A in mode 0 belongs to group B, as D0 of
the control word has it; in mode 1 of group B it can be changed by bit set/reset alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.port_pins import PortPins

A, B, C, CONTROL = range(4)
PORTS = "abc"

MODE_SET = 0x80
"""Bit 7 of a control word: 1 sets the modes, 0 sets or resets a bit of port C."""
ALL_INPUTS = 0x9B
"""The control word of mode 0 with every port an input."""

PINS = {f"p{port}{bit}": f"port {port.upper()}, bit {bit}" for port in PORTS for bit in range(8)}


@dataclass(frozen=True, slots=True)
class Lines:
    """Which bits of port C are a group's control lines."""

    intr: int
    stb: int
    ibf: int
    ack: int
    obf: int


LINES = (Lines(intr=3, stb=4, ibf=5, ack=6, obf=7), Lines(intr=0, stb=2, ibf=1, ack=2, obf=1))
"""Group A, whose inputs and outputs have lines of their own, and group B."""


class Group:
    """Port A or B with its control lines.

    Attributes:
        mode: 0, 1 or 2.
        is_input: direction in modes 0 and 1.
        out: output latch.
        held: input latch of modes 1 and 2.
        ibf: input buffer full.
        obf: level of OBF, which is active low.
        inte_in, inte_out: interrupt enable of the input and of the output side.
    """

    def __init__(self, lines: Lines) -> None:
        self.lines = lines
        self.held = 0
        self.set_mode(0, is_input=True)

    def set_mode(self, mode: int, *, is_input: bool) -> None:
        """Choose the mode; latches, flip-flops and interrupt enables are reset."""
        self.mode = mode
        self.is_input = is_input
        self.out = self.ibf = 0
        self.obf = 1
        self.inte_in = self.inte_out = 0

    @property
    def strobed(self) -> bool:
        """Whether STB loads the input latch."""
        return self.mode == 2 or (self.mode == 1 and self.is_input)

    @property
    def sends(self) -> bool:
        """Whether OBF and ACK pass on what the CPU writes."""
        return self.mode == 2 or (self.mode == 1 and not self.is_input)

    def intr(self, pins_c: int) -> int:
        """Level of INTR, with port C's pins at ``pins_c``."""
        stb, ack = pins_c >> self.lines.stb & 1, pins_c >> self.lines.ack & 1
        asks_in = self.strobed and self.inte_in & self.ibf & stb
        asks_out = self.sends and self.inte_out & self.obf & ack
        return int(bool(asks_in or asks_out))

    def outputs(self, pins_c: int) -> dict[int, int]:
        """Level of each control line that the chip drives, by bit of port C."""
        levels = {}
        if self.mode:
            levels[self.lines.intr] = self.intr(pins_c)
        if self.strobed:
            levels[self.lines.ibf] = self.ibf
        if self.sends:
            levels[self.lines.obf] = self.obf
        return levels

    def enables(self) -> dict[int, int]:
        """Interrupt enable bits, by the bit of port C whose place they take."""
        bits = {}
        if self.strobed:
            bits[self.lines.stb] = self.inte_in
        if self.sends:
            bits[self.lines.ack] = self.inte_out
        return bits

    def set_bit(self, bit: int, value: int) -> None:
        """Bit set/reset of a bit of port C that is one of this group's lines."""
        if self.strobed and bit == self.lines.stb:
            self.inte_in = value
        elif self.sends and bit == self.lines.ack:
            self.inte_out = value
        elif self.strobed and bit == self.lines.ibf:
            self.ibf = value
        elif self.sends and bit == self.lines.obf:
            self.obf = value


class Ppi8255(Device):
    """Two groups: port A with the upper half of port C, port B with the lower half."""

    kind = "8255A"
    about = "8255A programmable peripheral interface, three ports with handshake"
    registers: tuple[Register, ...] = (
        Register("port A", "bits on pa0-pa7", Read.LIVE, written=True),
        Register("port B", "bits on pb0-pb7", Read.LIVE, written=True),
        Register("port C", "bits on pc0-pc7; the status word in modes 1, 2", Read.LIVE, True),
        Register("control", "mode set, or set/reset of a bit of port C", written=True),
    )
    outputs: ClassVar[Mapping[str, str]] = PINS
    inputs: ClassVar[Mapping[str, str]] = PINS

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self._groups = (Group(LINES[A]), Group(LINES[B]))
        self._pins = [0xFF] * 3
        self._out_c = 0
        self._general_out = 0
        self._writable_c = 0
        self._out = [PortPins(site, letter) for letter in PORTS]
        self.control = ALL_INPUTS

    def power(self) -> None:
        self._pins = [0xFF] * 3
        for pins in self._out:
            pins.forget()
        for group in self._groups:
            group.held = 0
        self.reset()

    def reset(self) -> None:
        self._set_modes(ALL_INPUTS)

    # --- the bus --------------------------------------------------------------

    def peek(self, register: int) -> int:
        if register == CONTROL:
            return self.control | MODE_SET
        if register == C:
            return self._status()
        group = self._groups[register]
        if group.strobed:
            return group.held
        return self._pins[register] if group.is_input else group.out

    def read(self, register: int) -> int:
        value = self.peek(register)
        if register in (A, B) and self._groups[register].strobed:
            self._groups[register].ibf = 0
            self._show()
        return value

    def write(self, register: int, value: int) -> None:
        if register == CONTROL:
            self._control(value)
            return
        if register == C:
            self._out_c = self._out_c & ~self._writable_c | value & self._writable_c
        else:
            group = self._groups[register]
            group.out = value
            if group.sends:
                group.obf = 0
        self._show()

    def _control(self, value: int) -> None:
        if value & MODE_SET:
            self._set_modes(value)
            return
        bit, level = value >> 1 & 7, value & 1
        for group in self._groups:
            group.set_bit(bit, level)
        if self._general_out >> bit & 1:
            self._out_c = self._out_c & ~(1 << bit) | level << bit
        self._show()

    def _set_modes(self, word: int) -> None:
        self.control = word
        self._out_c = 0
        first, second = self._groups
        first.set_mode(min(word >> 5 & 3, 2), is_input=bool(word & 0x10))
        second.set_mode(word >> 2 & 1, is_input=bool(word & 0x02))
        outputs = (0 if word & 0x08 else 0xF0) | (0 if word & 0x01 else 0x0F)
        self._general_out = outputs & ~self._lines_in_use()
        in_mode_0 = (0 if first.mode else 0xF0) | (0 if second.mode else 0x0F)
        self._writable_c = self._general_out & in_mode_0
        self._show()

    def _lines_in_use(self) -> int:
        mask = 0
        for group in self._groups:
            for bit in (*group.outputs(0), *group.enables()):
                mask |= 1 << bit
        return mask

    def _status(self) -> int:
        """Port C as it is read: pins, latched outputs, and the status of modes 1 and 2."""
        outs = self._general_out
        value = self._pins[C] & ~outs | self._out_c & outs
        for group in self._groups:
            for bit, level in {**group.outputs(self._pins[C]), **group.enables()}.items():
                value = value & ~(1 << bit) | level << bit
        return value

    # --- the pins -------------------------------------------------------------

    def sense(self, pin: str, level: int) -> None:
        port, bit = PORTS.index(pin[1]), int(pin[2])
        before = self._pins[port]
        self._pins[port] = before & ~(1 << bit) | level << bit
        if port == C:
            self._control_line(bit, falls=before >> bit & 1 > level)
        for index, group in enumerate(self._groups):
            if group.strobed and not self._pins[C] >> group.lines.stb & 1:
                group.held = self._pins[index]
        if port == C:
            self._show()

    def _control_line(self, bit: int, *, falls: bool) -> None:
        for group in self._groups:
            if falls and group.strobed and bit == group.lines.stb:
                group.ibf = 1
            if falls and group.sends and bit == group.lines.ack:
                group.obf = 1

    def _show(self) -> None:
        """Bring the pins up to date, data before the control lines that vouch for it."""
        for port, group in enumerate(self._groups):
            driven = self._drives(group)
            self._out[port].show(0xFF if driven else 0, group.out)
        mask, value = self._general_out, self._out_c
        for group in self._groups:
            for bit, level in group.outputs(self._pins[C]).items():
                mask |= 1 << bit
                value = value & ~(1 << bit) | level << bit
        self._out[C].show(mask, value)

    def _drives(self, group: Group) -> bool:
        if group.mode == 2:
            return not self._pins[C] >> group.lines.ack & 1
        return not group.is_input

    def state(self) -> str:
        first, second = self._groups
        shown = [
            f"{'ABC'[port]} {self.peek(port):02X}{'' if port == C else _way(self._groups[port])}"
            for port in (A, B, C)
        ]
        return f"modes {first.mode} {second.mode}, {', '.join(shown)}"


def _way(group: Group) -> str:
    if group.mode == 2:
        return " both ways"
    return " in" if group.is_input else " out"


class Ppi82C55(Ppi8255):
    """The CHMOS version, whose control word can be read."""

    kind = "82C55A"
    about = "82C55A: the 8255A in CHMOS; the control word can be read"
    registers = (
        *Ppi8255.registers[:CONTROL],
        Register("control", "as the 8255A; reads give the last mode word", Read.LIVE, written=True),
    )
