"""A latched output of eight bits, each of which can be wired on.

Trade parts of this kind: 74LS374 (no clear) and 74LS273 (clear), wired to the
write strobe; readable back through a three-state buffer such as the 74LS244.
The circuit is common practice, no published source.

Modelled: the latch, its bits on pins, reading back, clearing by RESET OUT.
Not modelled: propagation delays.  Choice: a latch without clear, whose contents are
undefined when power comes on, begins at 00.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from emu85.board.device import Device, Read, Register, Site
from emu85.board.kinds import YES_NO, Key


class Latch(Device):
    """An output latch; pins ``q0`` to ``q7`` carry its bits."""

    kind = "latch"
    about = "an output latch, its bits on pins"
    options = (
        Key("readable", YES_NO, "whether a read gives back what was written", False, "no"),
        Key("clear", YES_NO, "whether RESET OUT clears it", False, "no"),
    )
    registers = (Register("output", "bits 0-7 appear on q0-q7", written=True),)
    outputs: ClassVar[Mapping[str, str]] = {f"q{bit}": f"bit {bit}" for bit in range(8)}

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.value = 0
        self._clear: bool = options["clear"]
        if options["readable"]:
            self.registers = (Register("output", "what was written", Read.PUBLISHED, written=True),)

        self._wired = [(bit, f"q{bit}") for bit in range(8) if site.is_wired(f"q{bit}")]

    def power(self) -> None:
        self.value = 0xFF  # so that all pins are driven
        self.write(0, 0)

    def reset(self) -> None:
        if self._clear:
            self.write(0, 0)

    def write(self, register: int, value: int) -> None:
        changed, self.value = self.value ^ value, value
        if self.registers[0].read is Read.PUBLISHED:
            self.site.publish(0, value)
        for bit, pin in self._wired:
            if changed >> bit & 1:
                self.site.drive(pin, value >> bit & 1)

    def state(self) -> str:
        return f"{self.value:02X}  {self.value:08b}"
