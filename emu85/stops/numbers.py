"""Numbers and don't-care patterns as they are written in stops.

Addresses, ports and bytes are hexadecimal, counts decimal; a suffix H, Q, B or
D settles it.  B and D are hexadecimal digits as well, so one rule is needed:

* a word no longer than the value has hexadecimal digits (two for a byte, four
  for an address) is plain hexadecimal: byte ``1B`` is 27, address ``101B`` is
  4123;
* in a longer word the suffix counts: byte ``101B`` is 5, ``10D`` is ten,
  address ``00001010B`` is ten.

``x`` stands for a nibble that does not matter (``8x0x``), and for a bit in a
binary pattern (``0000xxx1B``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_BASES = {"H": 16, "Q": 8, "B": 2, "D": 10}
_DIGITS = {16: "[0-9A-F]+", 10: "[0-9]+", 8: "[0-7]+", 2: "[01]+"}
_LONGEST = 64
"""Digits, leading zeros left out, beyond which a number is too large for anything."""


@dataclass(frozen=True, slots=True)
class Kind:
    """What a value is: hexadecimal digits it has, and the words for it in messages."""

    digits: int
    noun: str
    expected: str

    @property
    def limit(self) -> int:
        """The largest value."""
        return int(16**self.digits) - 1


ADDRESS = Kind(4, "an address", "an address, 0000 to FFFF, or a symbol")
BYTE = Kind(2, "a byte", "a byte, 00 to FF")


@dataclass(frozen=True, slots=True)
class Span:
    """Values ``low`` to ``high``, both included; ``short`` if written as bytes are."""

    low: int
    high: int
    short: bool = False


@dataclass(frozen=True, slots=True)
class Pattern:
    """Values with ``value & mask`` equal to ``value``; ``short`` if written as a byte is."""

    mask: int
    value: int
    short: bool = False


def read_number(word: str, digits: int) -> int | None:
    """The value of ``word``, hexadecimal unless its suffix says otherwise.

    Args:
        word: letters and digits, either case.
        digits: hexadecimal digits of the largest value wanted; see the rule above.

    Returns:
        The value, which may be larger than wanted; None if it is no number.
    """
    upper = word.upper()
    if len(upper) <= digits and _is(upper, 16):
        return int(upper, 16)
    suffixed = _read_suffixed(upper)
    if suffixed is not None:
        return suffixed
    return _value(upper, 16)


def read_count(word: str) -> int | None:
    """The value of ``word``, decimal unless its suffix says otherwise; None if no number."""
    upper = word.upper()
    plain = _value(upper, 10)
    return _read_suffixed(upper) if plain is None else plain


def read_pattern(word: str, digits: int) -> tuple[int, int] | None:
    """Mask and value of a pattern with don't-care nibbles or bits.

    Positions left out at the front are zeros that matter, as in a number.

    Returns:
        ``(mask, value)``, or None if ``word`` is no pattern of at most ``digits``
        hexadecimal digits.
    """
    upper = word.upper()
    body, suffix = upper[:-1], upper[-1:]
    if len(upper) <= digits and re.fullmatch("[0-9A-FX]+", upper):
        return _pattern(upper, digits, 4)
    if suffix == "B" and re.fullmatch("[01X]+", body):
        return _pattern(body, 4 * digits, 1)
    if suffix == "H" and re.fullmatch("[0-9A-FX]+", body):
        return _pattern(body, digits, 4)
    return None


def is_foreign_hex(word: str, digits: int) -> bool:
    """True for ``0x80`` and the like, whose x would be misread as a don't-care nibble."""
    fits = 2 < len(word) <= 2 + digits
    return fits and re.fullmatch("0[xX][0-9A-Fa-f]+", word) is not None


def _pattern(body: str, places: int, width: int) -> tuple[int, int] | None:
    if len(body) > places:
        return None
    full = (1 << width) - 1
    mask = value = 0
    for digit in body.rjust(places, "0"):
        known = digit != "X"
        mask = mask << width | (full if known else 0)
        value = value << width | (int(digit, 16) if known else 0)
    return mask, value


def _read_suffixed(upper: str) -> int | None:
    base = _BASES.get(upper[-1:])
    return None if base is None else _value(upper[:-1], base)


def _value(body: str, base: int) -> int | None:
    if not _is(body, base):
        return None
    significant = body.lstrip("0")
    if len(significant) > _LONGEST:
        return int(base**_LONGEST)
    return int(significant or "0", base)


def _is(body: str, base: int) -> bool:
    return re.fullmatch(_DIGITS[base], body) is not None
