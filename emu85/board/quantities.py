"""Numbers as a board file writes them.

Addresses, ports and bytes are hexadecimal, counts are decimal; a suffix H, Q, B
or D settles it, as in Intel's assembly language.  In a hexadecimal place B and
D are digits as well, so there they are taken for a suffix only when the number
could not be meant otherwise (``10000000B`` for a byte).  Frequencies, times and
sizes carry their unit.  Everything is exact: fractions, never floats.

All functions raise :class:`UserError` without a place; the caller adds it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from emu85.errors import UserError
from emu85.wording import counted

_LONGEST = 40
_HEX = re.compile(r"(?:0x)?([0-9A-F]+?)(?:H)?", re.I | re.A)
_SUFFIXED = {
    "Q": (re.compile(r"([0-7]+)[QO]", re.I | re.A), 8),
    "B": (re.compile(r"([01]+)B", re.I | re.A), 2),
    "D": (re.compile(r"([0-9]+)D", re.I | re.A), 10),
    "": (re.compile(r"([0-9]+)", re.A), 10),
    "H": (re.compile(r"([0-9][0-9A-F]*)H", re.I | re.A), 16),
}
_DECIMAL = re.compile(r"[0-9]+(?:\.[0-9]*)?(?:E[+-]?[0-9]{1,2})?", re.I | re.A)
_MEASURE = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]+)", re.A)
_SIZE = re.compile(r"([0-9][0-9A-F]*[HQD]?)\s*(K|KB|Kbytes|bytes?)?", re.I | re.A)
_HERTZ = {"hz": 1, "khz": 1000, "mhz": 1_000_000}
_SECONDS = {
    "s": Fraction(1),
    "ms": Fraction(1, 1000),
    "us": Fraction(1, 1_000_000),
    "ns": Fraction(1, 1_000_000_000),
}


def hexadecimal(text: str, highest: int) -> int:
    """A number written in hexadecimal, 0 to ``highest``."""
    width = len(f"{highest:X}")
    expected = f"a hexadecimal number, {0:0{width}X} to {highest:X}"
    readings = (_plain_hex(text), _by("Q", text), _by("B", text), _by("D", text))
    for value in readings:
        if value is not None and value <= highest:
            return value
    if any(value is not None for value in readings):
        raise UserError(f"{text} is too large", expected=expected)
    raise UserError(f"{text!r} is not a number", expected=expected)


def decimal(text: str, lowest: int, highest: int) -> int:
    """A count, written in decimal unless a suffix says otherwise."""
    expected = f"a number from {lowest} to {highest}"
    value = _counted(text)
    if value is None:
        raise UserError(f"{text!r} is not a number", expected=expected)
    if not lowest <= value <= highest:
        raise UserError(f"{text} is out of range", expected=expected)
    return value


def byte_count(text: str, highest: int = 0x10000) -> int:
    """A size in bytes: ``2K``, ``2048``, ``800H bytes``."""
    expected = "a size such as 2K, 2048 or 800H bytes"
    found = _SIZE.fullmatch(text) if len(text) <= _LONGEST else None
    value = _counted(found[1]) if found else None
    if found is None or value is None:
        raise UserError(f"{text!r} is not a size", expected=expected)
    if (found[2] or "").casefold().startswith("k"):
        value *= 1024
    if not 1 <= value <= highest:
        raise UserError(f"{text} is out of range", expected=f"1 byte to {highest // 1024}K")
    return value


def frequency(text: str, lowest: Fraction, highest: Fraction) -> Fraction:
    """A frequency in hertz: ``6.144 MHz``, ``100 Hz``."""
    found = _measure(text, {k: Fraction(v) for k, v in _HERTZ.items()})
    if found is None:
        raise UserError(
            f"{text!r} is not a frequency", expected="a number with Hz, kHz or MHz, as in 6.144 MHz"
        )
    if not lowest <= found <= highest:
        limits = f"{hertz_text(lowest)} to {hertz_text(highest)}"
        raise UserError(f"{text} is out of range", expected=limits)
    return found


class Length(NamedTuple):
    """A length of board time as it was asked for; ``amount`` of seconds, or of T-states."""

    amount: Fraction
    is_t_states: bool

    def t_states(self, clock: Fraction) -> Fraction:
        """In T-states at a ``clock`` in hertz."""
        return self.amount if self.is_t_states else self.amount * clock


def duration(text: str, highest: Fraction = Fraction(1_000_000)) -> Fraction:
    """A time in seconds: ``10 ms``, ``2.5 us``."""
    found = _measure(text, _SECONDS)
    if found is None:
        raise UserError(
            f"{text!r} is not a time", expected="a number with s, ms, us or ns, as in 20 ms"
        )
    if found > highest:
        raise UserError(f"{text} is out of range", expected=f"at most {seconds_text(highest)}")
    return found


def seconds(text: str, unit: str = "s", highest: Fraction = Fraction(1_000_000)) -> Fraction:
    """A moment in seconds: a decimal number of ``unit``, or one with a unit of its own."""
    if len(text) <= _LONGEST and _DECIMAL.fullmatch(text):
        value = Fraction(text) * _SECONDS[unit]
    else:
        found = _measure(text, _SECONDS)
        if found is None:
            raise UserError(f"{text!r} is not a time", expected="a number, as 0.25 or 250 ms")
        value = found
    if value > highest:
        raise UserError(f"{text} is out of range", expected=f"at most {seconds_text(highest)}")
    return value


def span(text: str, highest: int) -> tuple[int, int | None]:
    """``8000-87FF`` as its two ends, or ``8000`` alone with no upper end."""
    low_text, dash, high_text = (part.strip() for part in text.partition("-"))
    low = hexadecimal(low_text, highest)
    if not dash:
        return low, None
    high = hexadecimal(high_text, highest)
    if high < low:
        raise UserError(f"the range {text} runs backwards", expected="the lower end first")
    return low, high


def hertz_text(value: Fraction) -> str:
    """A frequency with the unit that reads best."""
    for unit, factor in (("MHz", 1_000_000), ("kHz", 1000)):
        if value >= factor:
            return f"{_short(value / factor)} {unit}"
    return f"{_short(value)} Hz"


def seconds_text(value: Fraction) -> str:
    """A time with the unit that reads best."""
    for unit, factor in _SECONDS.items():
        if value >= factor:
            return f"{_short(value / factor)} {unit}"
    return f"{_short(value * 1_000_000_000)} ns"


def size_text(size: int) -> str:
    """A number of bytes, in K where it is a whole number of them."""
    return f"{size // 1024}K" if size % 1024 == 0 else counted(size, "byte")


def _short(value: Fraction) -> str:
    return f"{float(value):.6g}"


def _by(suffix: str, text: str) -> int | None:
    pattern, base = _SUFFIXED[suffix]
    found = pattern.fullmatch(text) if len(text) <= _LONGEST else None
    return int(found[1], base) if found else None


def _plain_hex(text: str) -> int | None:
    found = _HEX.fullmatch(text) if len(text) <= _LONGEST else None
    return int(found[1], 16) if found else None


def _counted(text: str) -> int | None:
    return next((v for v in (_by(suffix, text) for suffix in ("", *"DHQB")) if v is not None), None)


def _measure(text: str, units: dict[str, Fraction]) -> Fraction | None:
    found = _MEASURE.fullmatch(text) if len(text) <= _LONGEST else None
    if found is None or found[2].casefold() not in units:
        return None
    return Fraction(found[1]) * units[found[2].casefold()]
