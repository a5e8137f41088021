"""Numbers and addresses as they are written on the console.

The rules are those of the stops' language (:mod:`emu85.stops.numbers`), so that
``8004`` means the same in ``mem 8004`` and in ``stop on MW at 8004``.
"""

from __future__ import annotations

from collections.abc import Mapping

from emu85.errors import UserError, nearest
from emu85.stops.numbers import read_count, read_number


def number(text: str, base: int, low: int, high: int, wants: str) -> int:
    """A number of base 16 or 10 unless its suffix says otherwise.

    Raises:
        UserError: it is none, or lies outside ``low`` to ``high``; ``wants`` is
            what was expected.
    """
    value = read_number(text, len(f"{high:X}")) if base == 16 else read_count(text)
    if value is None and text.startswith("-") and read_count(text[1:]) is not None:
        raise UserError(f"{text} is out of range", expected=wants)
    if value is None:
        raise UserError(f"{text!r} is not a number", expected=wants)
    if not low <= value <= high:
        raise UserError(f"{text} is out of range", expected=wants)
    return value


def plain_address(text: str) -> int:
    """A hexadecimal address where no symbol can stand.

    Raises:
        UserError: it is none.
    """
    return number(text, 16, 0, 0xFFFF, "an address, 0000 to FFFF")


def address(text: str, symbols: Mapping[str, int], high: int, wants: str) -> int:
    """A hexadecimal number or a symbol, either with offsets: ``TABLE``, ``8000+1F``.

    A word that begins with a letter and is a symbol is taken for the symbol; a
    leading 0 makes it a number.

    Raises:
        UserError: it is none of these, or goes beyond ``high``.
    """
    first, *offsets = text.split("+")
    value = _first(first, symbols, high, wants)
    for offset in offsets:
        added = read_number(offset, 4)
        if added is None:
            raise UserError(
                f"{offset!r} is not an offset", expected="a hexadecimal number after '+'"
            )
        value += added
    if value > high:
        raise UserError(f"{text} is out of range", expected=wants)
    return value


def _first(text: str, symbols: Mapping[str, int], high: int, wants: str) -> int:
    by_folded = {name.casefold(): at for name, at in symbols.items()}
    if text and not text[0].isdigit() and text.casefold() in by_folded:
        return by_folded[text.casefold()]
    value = read_number(text, len(f"{high:X}"))
    if value is None:
        raise UserError(
            f"{text!r} is neither a number nor a symbol",
            expected=wants,
            nearest=nearest(text, symbols),
        )
    return value
