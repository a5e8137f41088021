"""The pins of the 8085 that a waveform shows, and the levels that can stand on them."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from typing import Final

from emu85.bus.lines import Line
from emu85.errors import UserError, nearest


class Undefined(enum.Enum):
    """A pin is driven, but the data sheet does not say to which level."""

    UNDEFINED = "undefined"


UNDEFINED: Final = Undefined.UNDEFINED

Level = int | None | Undefined
"""0 or 1, of a bus 0 to FF; None in the high-impedance state; or :data:`UNDEFINED`."""

CLK, ALE = "CLK", "ALE"
HIGH_ADDRESS, ADDRESS_DATA = "A8-A15", "AD0-AD7"
IO_M, S1, S0 = "IO/M", "S1", "S0"
RD, WR, INTA = "RD", "WR", "INTA"
READY, HOLD, HLDA = "READY", "HOLD", "HLDA"
RESET_OUT = "RESET OUT"

SAMPLED: dict[str, Line] = {
    "INTR": Line.INTR,
    "TRAP": Line.TRAP,
    "RST 7.5": Line.RST75,
    "RST 6.5": Line.RST65,
    "RST 5.5": Line.RST55,
    "SID": Line.SID,
    "SOD": Line.SOD,
    RESET_OUT: Line.RESET_OUT,
}
"""Pins whose level is known once a machine cycle: the trace has it as the CPU sampled it."""

REQUESTS: dict[str, Line] = {
    pin: line for pin, line in SAMPLED.items() if pin in ("INTR", "TRAP") or pin.startswith("RST")
}
"""Those of them that ask for an interrupt: sampled one T-state before the machine cycle."""

PINS: tuple[str, ...] = (
    *(CLK, ALE, HIGH_ADDRESS, ADDRESS_DATA, IO_M, S1, S0, RD, WR, INTA, READY, HOLD, HLDA),
    *SAMPLED,
)
"""All of them, in the order in which they are drawn; named as in the data sheet."""

WIDTHS: dict[str, int] = {HIGH_ADDRESS: 8, ADDRESS_DATA: 8}
"""Bits of the pins that are buses."""

ACTIVE_LOW = frozenset({RD, WR, INTA})
"""Pins that the data sheet writes with a bar; IO/M has its bar over the M alone."""


def pin_named(text: str) -> str:
    """A pin by its name; capitals, blanks and signs between the letters do not matter.

    Raises:
        UserError: no such pin.
    """
    found = _FOLDED.get(_folded(text))
    if found is None:
        raise UserError(
            f"no pin {text!r}", expected=f"one of {', '.join(PINS)}", nearest=nearest(text, PINS)
        )
    return found


def pins_of(text: str) -> list[str]:
    """Pins by their names, with commas or blanks between; a blank within a name is fine too.

    Raises:
        UserError: none is named, or there is no such pin.
    """
    words = text.split()
    found: list[str] = []
    while words:
        pins, taken = first_pins(words)
        found += pins
        words = words[taken:]
    if not found:
        raise UserError("no pin is named", expected=f"one or more of {', '.join(PINS)}")
    return found


def first_pins(words: Sequence[str]) -> tuple[list[str], int]:
    """The pins that the first word names, and how many words that took.

    It is more than one word where a name has a blank in it, and more than one pin where
    commas stand between.

    Raises:
        UserError: no such pin.
    """
    text, taken = words[0], 1
    while taken < len(words) and _is_one_name(text, words[taken]):
        text += f" {words[taken]}"
        taken += 1
    return [pin_named(name) for name in text.split(",") if name], taken


def _is_one_name(before: str, after: str) -> bool:
    """Whether what ends one word and begins the next is a pin's name torn apart."""
    begins, ends = _folded(before.rpartition(",")[2]), _folded(after.partition(",")[0])
    return bool(begins) and begins not in _FOLDED and begins + ends in _FOLDED


def _folded(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


_FOLDED = {_folded(pin): pin for pin in PINS}
