"""The pins of the 8085 that a waveform shows, and the levels that can stand on them."""

from __future__ import annotations

import enum
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


def _folded(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


_FOLDED = {_folded(pin): pin for pin in PINS}
