"""A circuit that puts an instruction on the bus when INTR is acknowledged.

Either an RST n, the byte 11nnn111, given by pull-ups and a three-state buffer
enabled by INTA; or a three-byte CALL, a buffer for each INTA pulse in turn.
Source for the INTA sequence: Intel MCS-80/85 Family User's Manual (October
1979), interrupt section (value from memory).  The circuit itself is common
practice, no published source.

Modelled: a rising edge of ``request`` sets a flip-flop that drives ``intr``; the first
INTA pulse clears it; the bytes, one for each INTA pulse.
Not modelled: propagation delays.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from emu85.board.device import Device, Site
from emu85.board.kinds import Key, count, hexadecimal
from emu85.board.nodes import Node

CALL = 0xCD


def restart(number: int) -> int:
    """The byte of RST ``number``."""
    return 0xC7 | number << 3


class Vector(Device):
    """Holds the request, drives INTR and answers the acknowledge cycles."""

    kind = "vector"
    about = "jams an RST n or a CALL on the bus in INTA cycles"
    options = (
        Key("rst", count(0, 7), "the restart it jams"),
        Key("call", hexadecimal("an address", 0xFFFF), "the address of the CALL it jams"),
    )
    outputs: ClassVar[Mapping[str, str]] = {"intr": "high from a request to its first INTA"}
    inputs: ClassVar[Mapping[str, str]] = {"request": "a rising edge asks for an interrupt"}
    answers_inta = True

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        address: int | None = options["call"]
        if address is None:
            self._bytes: tuple[int, ...] = (restart(options["rst"]),)
        else:
            self._bytes = (CALL, address & 0xFF, address >> 8)
        self._given = 0
        self.waiting = False

    @property
    def jammed(self) -> bytes:
        """What it puts on the bus, a byte for each INTA cycle."""
        return bytes(self._bytes)

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        if (options["rst"] is None) == (options["call"] is None):
            raise node.wrong("a vector jams one thing", expected="either rst or call")

    def power(self) -> None:
        self.reset()

    def reset(self) -> None:
        self._given = 0
        self._wait(False)

    def sense(self, pin: str, level: int) -> None:
        if level:
            self._wait(True)

    def acknowledge(self) -> int:
        if self._given == 0:
            self._wait(False)
        value = self._bytes[self._given]
        self._given = (self._given + 1) % len(self._bytes)
        return value

    def _wait(self, waiting: bool) -> None:
        self.waiting = waiting
        self.site.drive("intr", int(waiting))

    def state(self) -> str:
        shown = " ".join(f"{value:02X}" for value in self._bytes)
        return f"{shown}, {'request waiting' if self.waiting else 'no request'}"
