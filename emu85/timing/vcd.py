"""Waveforms as a value change dump (IEEE 1364-2001, clause 18), written as the board runs.

Each pin is a wire, A8-A15 and AD0-AD7 are vectors; ``z`` is floating, ``x`` unspecified.
Beside them stands ``cycle``, the type of the machine cycle as ASCII text (eight bits a
character), which viewers can show as letters.  Names are those of the pins as far as
the standard's identifiers allow: an active-low pin ends in ``_n``, and other signs are
left out or underscores.

The same run gives the same file to the last byte, so it has no date.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.expand import DATA, HIGH_BYTE, LOW_BYTE, Bus
from emu85.bus.pins import ACTIVE_LOW, ADDRESS_DATA, HIGH_ADDRESS, PINS, UNDEFINED, WIDTHS, Level
from emu85.timing.edges import Placed, Placer
from emu85.timing.weave import Weaver, Woven

_FIRST_CODE = 33
"""Identifier codes are printable characters from here on."""
_CODES = {pin: chr(_FIRST_CODE + number) for number, pin in enumerate(PINS)}
_CYCLE_CODE = chr(_FIRST_CODE + len(PINS))
_CYCLE_TEXT = 5
"""Characters of the longest type."""
_BITS = [f"{value:08b}" for value in range(256)]
_NAMES = {HIGH_ADDRESS: "A", ADDRESS_DATA: "AD"}
_RANGES = {HIGH_ADDRESS: "[15:8]", ADDRESS_DATA: "[7:0]"}

_AT_ONCE = 4096
"""Machine cycles whose text is written in one go."""
_MOST_TEMPLATES = 20_000

_LOW, _HIGH, _DATA = -1, -2, -3
"""Arguments of a template that stand for bytes; others are ps from the start of the cycle."""
_ARGUMENTS = {LOW_BYTE: _LOW, HIGH_BYTE: _HIGH, DATA: _DATA}


def identifier(pin: str) -> str:
    """The name that a pin has in the file."""
    name = _NAMES.get(pin, re.sub(r"\W", "_", pin.replace("RST ", "RST")))
    return f"{name}_n" if pin in ACTIVE_LOW else name


def _reference(pin: str) -> str:
    return f"{identifier(pin)} {_RANGES[pin]}" if pin in _RANGES else identifier(pin)


class VcdWriter:
    """Takes records as they come (``profile.Taker``) and writes their waveform.

    Memory does not grow with the length of the run.
    """

    def __init__(self, stream: BinaryIO, placer: Placer, board: str) -> None:
        """``board`` names the scope."""
        self._stream = stream
        self._weaver = Weaver(placer)
        self._templates: dict[int, tuple[str, list[int], tuple[Placed, ...]]] = {}
        self._is_begun = False
        self._board = re.sub(r"\W", "_", board) or "board"
        stream.write(_head(self._board).encode())

    def feed(self, records: NDArray[np.void]) -> None:
        """Write all but the last record: ``bus.trace.RECORD``, oldest first, none left out.

        Raises:
            OSError: as the stream does.
        """
        self._write(self._weaver.feed(records))

    def finish(self, end_t: int) -> None:
        """Write the last record, which ends at T-state ``end_t``.

        Raises:
            OSError: as the stream does.
        """
        self._write(self._weaver.finish(end_t))

    def _write(self, woven: Iterator[Woven]) -> None:
        parts: list[str] = []
        for one in woven:
            if not self._is_begun:
                parts.append(_initial(one.start))
                self._is_begun = True
            parts.append(self._text(one))
            if len(parts) >= _AT_ONCE:
                self._stream.write("".join(parts).encode())
                parts.clear()
        self._stream.write("".join(parts).encode())

    def _text(self, one: Woven) -> str:
        key = id(one.placed) * 2 + one.begins  # the template keeps the tuple, and so its id
        found = self._templates.get(key)
        if found is None:
            if len(self._templates) >= _MOST_TEMPLATES:
                self._templates.clear()
            found = self._templates[key] = (*_template(one), one.placed)
        text, arguments, _ = found
        start, address = one.start, one.address
        bytes_ = (_BITS[one.data], _BITS[address >> 8], _BITS[address & 0xFF])
        return text % tuple([start + each if each >= 0 else bytes_[each] for each in arguments])


def _head(board: str) -> str:
    wires = [f"$var wire {WIDTHS.get(pin, 1)} {_CODES[pin]} {_reference(pin)} $end" for pin in PINS]
    width = 8 * _CYCLE_TEXT
    return "\n".join(
        [
            "$version emu85 $end",
            "$timescale 1 ps $end",
            f"$scope module {board} $end",
            "$scope module cpu $end",
            *wires,
            f"$var reg {width} {_CYCLE_CODE} cycle [{width - 1}:0] $end",
            "$upscope $end",
            "$upscope $end",
            "$enddefinitions $end",
            "",
        ]
    )


def _initial(start: int) -> str:
    """Every value unknown until the first machine cycle says it."""
    lines = [f"#{start}", "$dumpvars"]
    lines += [_change(pin, UNDEFINED) for pin in PINS]
    return "\n".join([*lines, f"bx {_CYCLE_CODE}", "$end", ""])


def _template(one: Woven) -> tuple[str, list[int]]:
    """A format for a cycle that changes so, and what is to be put into it."""
    text, arguments = [], list[int]()
    ps = -1
    if one.begins:
        ps = 0
        arguments.append(0)
        text.append(f"#%d\n{_type(one.cycle)}\n")
    for each in one.placed:
        if each.ps != ps:
            ps = each.ps
            arguments.append(ps)
            text.append("#%d\n")
        if isinstance(each.level, Bus):
            arguments.append(_ARGUMENTS[each.level])
            text.append(f"b%s {_escaped(_CODES[each.pin])}\n")
        else:
            text.append(f"{_escaped(_change(each.pin, each.level))}\n")
    return "".join(text), arguments


def _type(cycle: Cycle) -> str:
    bits = "".join(_BITS[each] for each in cycle.name.ljust(_CYCLE_TEXT).encode())
    return f"b{bits.lstrip('0')} {_escaped(_CYCLE_CODE)}"


def _escaped(text: str) -> str:
    return text.replace("%", "%%")


def _change(pin: str, level: Level) -> str:
    letter = "z" if level is None else "x" if level is UNDEFINED else str(level)
    return f"b{letter} {_CODES[pin]}" if pin in WIDTHS else f"{letter}{_CODES[pin]}"
