"""The bands of lamps: the buses, the lines that the CPU drives, and those that it is given.

Address and data stand in one band, four bits together with their hexadecimal digit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from emu85.bus.glow import Glow
from emu85.bus.pins import (
    ACTIVE_LOW,
    ALE,
    HLDA,
    HOLD,
    INTA,
    IO_M,
    RD,
    READY,
    RESET_OUT,
    S0,
    S1,
    WR,
)
from emu85.console.panel.lamps import Lamps, lamp
from emu85.console.panel.pieces import LABEL, LIT, STRONG, Line, Piece, labelled

Shares = NDArray[np.float64]

FROM_CPU = ((IO_M, S1, S0), (ALE, RD, WR, INTA), (HLDA,), ("SOD",), (RESET_OUT,))
TO_CPU = ((READY, HOLD), ("TRAP", "RST 7.5", "RST 6.5", "RST 5.5", "INTR"), ("SID",))
_SHORT = {"RST 6.5": "6.5", "RST 5.5": "5.5"}
_BITS = 4
_NARROW, _WIDE = 2, 4
"""Columns of a bit's lamp."""
_GAP = "  "
_PER_CENT = "% high"


def buses(
    glow: Glow, address: int | None, data: int | None, lamps: Lamps, *, is_wide: bool
) -> Iterator[Line]:
    """Names, and lamps with the digits of the last machine cycle.

    Args:
        is_wide: each bit has its name; else four together.
    """
    cell = _WIDE if is_wide else _NARROW
    names, lit = " " * LABEL, [Piece(f"{'bus':<{LABEL}}")]
    for letter, shares, value in (("A", glow.address, address), ("D", glow.data, data)):
        for low in _fours(shares):
            digit = "-" if value is None else f"{value >> low & 15:X}"
            lamps_of_four = [lamp(share, lamps) for share in _four(shares, low)]
            names += _four_names(letter, low, cell) + _GAP
            lit += [Piece(_in_cells(lamps_of_four, cell), LIT), Piece(digit, STRONG), Piece(_GAP)]
        names += _GAP
        lit.append(Piece(_GAP))
    yield [Piece(names.rstrip())]
    yield lit


def bus_figures(figures: Glow) -> Line:
    """The shares below the lamps of a wide panel, in per cent."""
    text = ""
    for shares in (figures.address, figures.data):
        for low in _fours(shares):
            text += _in_cells(map(_figure, _four(shares, low)), _WIDE) + " " + _GAP
        text += _GAP
    return labelled(_PER_CENT, text.rstrip())


def pins(label: str, groups: Sequence[Sequence[str]], glow: Glow, lamps: Lamps) -> Iterator[Line]:
    """Names of pins, and a lamp below each.

    A pin that is active low has a stroke before its name.
    """
    yield labelled(label, _row(groups, shown_name))
    yield labelled("", _row(groups, lambda pin: lamp(glow.pins[pin], lamps)), LIT)


def pin_figures(groups: Sequence[Sequence[str]], figures: Glow) -> Line:
    """The shares below the pins' lamps, in per cent."""
    return labelled(_PER_CENT, _row(groups, lambda pin: _figure(figures.pins[pin])))


def shown_name(pin: str) -> str:
    """A pin's name as the panel has it."""
    return f"/{pin}" if pin in ACTIVE_LOW else _SHORT.get(pin, pin)


def _row(groups: Sequence[Sequence[str]], text: Callable[[str], str]) -> str:
    cells = [[f"{text(pin):^{max(len(shown_name(pin)), 3)}}" for pin in group] for group in groups]
    return "     ".join("  ".join(group) for group in cells).rstrip()


def _four_names(letter: str, low: int, cell: int) -> str:
    if cell == _WIDE:
        names = [f"{letter}{bit}" for bit in range(low + _BITS - 1, low - 1, -1)]
        return _in_cells(names, cell) + " "
    return f"{f'{letter}{low + _BITS - 1}-{letter}{low}':<{_BITS * cell + 1}}"


def _fours(shares: Shares) -> range:
    """The lowest bit of each four, the highest four first."""
    return range(len(shares) - _BITS, -1, -_BITS)


def _four(shares: Shares, low: int) -> list[float]:
    """The shares of four bits, the highest first."""
    four: list[float] = shares[low : low + _BITS][::-1].tolist()
    return four


def _in_cells(texts: Iterable[str], width: int) -> str:
    return "".join(f"{text:<{width}}" for text in texts)


def _figure(share: float) -> str:
    """A share in per cent: 0 and 100 only for what did not change."""
    if 0 < share < 1:
        share = min(max(share, 0.01), 0.99)
    return f"{share:.0%}".removesuffix("%")
