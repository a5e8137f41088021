"""Eight lamps behind an output latch.

A common board circuit: an octal latch with clear (74LS273) driving lamps, no
published source.  A lamp is lit by a 1, or by a 0 where the latch sinks the
lamp's current.

Modelled: the latch, cleared by RESET OUT; which lamps are lit.
Not modelled: brightness; the time a filament takes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from emu85.board.device import Device, Register, Site
from emu85.board.kinds import TEXT, Key, choice, listing
from emu85.board.nodes import Node

LIT, DARK = "●", "·"


class Lamps(Device):
    """An output latch, cleared by reset, with a lamp on each bit."""

    kind = "lamps"
    about = "an output latch with eight lamps, cleared by reset"
    options = (
        Key("lit by", choice("1", "0"), "the bit value that lights a lamp", "1", "1"),
        Key("labels", listing(TEXT, 8, "up to eight labels, bit 0 first"), "what lamps mean", ()),
    )
    registers = (Register("lamps", "bit 7 is the left lamp", written=True, kept=True),)

    def __init__(self, name: str, options: Mapping[str, Any], site: Site) -> None:
        super().__init__(name, options, site)
        self.labels: tuple[str, ...] = options["labels"]
        self._invert = 0xFF if options["lit by"] == "0" else 0

    @classmethod
    def check(cls, options: Mapping[str, Any], node: Node) -> None:
        folded = [label.casefold() for label in options["labels"]]
        if len(set(folded)) < len(folded):
            raise node.wrong("two lamps have one label", expected="labels that differ")

    def power(self) -> None:
        self.site.keep(0, 0)

    def reset(self) -> None:
        self.site.keep(0, 0)

    def write(self, register: int, value: int) -> None:
        self.site.keep(register, value)

    @property
    def value(self) -> int:
        """What the latch holds."""
        return self.site.kept(0)

    @property
    def lit(self) -> int:
        """Which lamps are lit, a 1 for each."""
        return self.value ^ self._invert

    def state(self) -> str:
        row = "".join(LIT if self.lit >> bit & 1 else DARK for bit in range(7, -1, -1))
        names = [label for bit, label in enumerate(self.labels) if self.lit >> bit & 1]
        return f"{row}  {', '.join(names)}".rstrip()
