"""A bank of eight switches read through a port.

A common board circuit: switches with pull-ups on a three-state buffer
(74LS244), no published source.

Modelled: eight levels, set by hand, kept through RESET and power.
Not modelled: bounce.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from emu85.board.device import Control, Device, Read, Register, Site
from emu85.board.kinds import BYTE, Key, count


class Switches(Device):
    """A byte that the user sets and the firmware reads; it outlives power and reset."""

    kind = "switches"
    about = "a bank of eight switches"
    options = (Key("value", BYTE, "how the switches stand at first", 0, "00"),)
    registers = (Register("switches", "bits 0-7", Read.PUBLISHED),)
    controls = (
        Control("value", "put the switches at a byte", BYTE),
        Control("flip", "turn one switch over, 0 to 7", count(0, 7)),
    )

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.value: int = options["value"]

    def power(self) -> None:
        self.site.publish(0, self.value)

    def adjust(self, control: str, value: Any) -> None:
        self.value = self.value ^ 1 << value if control == "flip" else value
        self.site.publish(0, self.value)

    def state(self) -> str:
        return f"{self.value:02X}  {self.value:08b}"
