r"""A timing diagram of characters.

Each T-state is two halves wide, CLK low and CLK high, and a pin is one line; those with a
long name, TRESET, are somewhat wider::

               T1    T2    T3    T4
    ALE        /--\________________
    AD0-AD7    X00===......X3E......

A level changes at the first column of its half.  Nothing rests on colour, and in the plain
form every character is ASCII.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from emu85.bus.expand import State
from emu85.bus.pins import ADDRESS_DATA, UNDEFINED, WIDTHS, Level
from emu85.timing.stretch import Gap, Stretch, bands, drawn_pins

_LABEL = 10
"""Columns before the diagram."""
_HALF = 3
"""Columns of half a T-state."""
_GAP = 8
"""Columns of T-states left out, at least."""


class Marks(NamedTuple):
    """The characters that a diagram is drawn with."""

    high: str
    low: str
    floating: str
    undefined: str
    rise: str
    fall: str
    cross: str
    bus: str
    gap: str
    begin: str


PLAIN = Marks("-", "_", ".", "?", "/", "\\", "X", "=", "~", "|")
"""ASCII alone."""
BLOCKS = Marks("▔", "▁", "┄", "?", "╱", "╲", "╳", "═", "~", "│")  # noqa: RUF001
"""For terminals that have them."""


def text_diagram(
    stretch: Stretch,
    *,
    width: int = 80,
    pins: Sequence[str] | None = None,
    marks: Marks = PLAIN,
) -> Iterator[str]:
    """The lines of the diagram, cut into bands that fit the width.

    Args:
        width: columns.
        pins: names of the pins to draw; those of the bus, and what else is active, if not given.
    """
    states = stretch.shown()
    shown = drawn_pins(states, pins)
    room = max(width - _LABEL, 2 * _HALF)
    before: dict[str, Level] = {}
    for number, band in enumerate(bands(states, room, _columns)):
        if number:
            yield ""
        yield from _heads(band, stretch.names, room, marks)
        for pin in shown:
            row = "".join(_pieces(band, pin, before.get(pin, UNDEFINED), pin in before, marks))
            yield f"{pin:<{_LABEL}}{row}".rstrip()
        last = next(one for one in reversed(band) if isinstance(one, State))
        before = dict(last.second)


def key_line(marks: Marks = PLAIN) -> str:
    """What the characters mean."""
    return (
        f"{marks.high} high  {marks.low} low  {marks.floating} floating  "
        f"{marks.undefined} unspecified  {marks.cross}3E{marks.bus} a byte on a bus"
    )


def _columns(one: State | Gap) -> int:
    return max(_GAP, len(one.text) + 4) if isinstance(one, Gap) else 2 * _half(one)


def _half(state: State) -> int:
    """Columns of half a T-state: its name leaves a blank before the next."""
    return max(_HALF, (len(state.name) + 2) // 2)


def _heads(
    band: Sequence[State | Gap], names: Sequence[str], room: int, marks: Marks
) -> Iterator[str]:
    """The machine cycles, and below them the T-states."""
    cycles, t_states = "", ""
    first = next((one for one in band if isinstance(one, State)), None)
    record = -1
    for one in band:
        if one.record != record:
            # A name may run on over the T-states of its own cycle, and not further.
            cycles = cycles[: len(t_states)].ljust(len(t_states))
            cycles += f"{marks.begin}{names[one.record]}"
            record = one.record
        if isinstance(one, Gap):
            t_states += f"{marks.gap} {one.text}".ljust(_columns(one))
        else:
            t_states += one.name.ljust(_columns(one))
    label = f"T {first.t}" if first else ""
    yield f"{label:<{_LABEL}}{cycles[:room]}".rstrip()
    yield f"{'':<{_LABEL}}{t_states}".rstrip()


def _pieces(
    band: Sequence[State | Gap], pin: str, before: Level, is_known: bool, marks: Marks
) -> Iterator[str]:
    is_bus = WIDTHS.get(pin, 1) > 1
    is_known &= not is_bus  # a byte is written where it comes to the bus, and in each band
    for one in band:
        if isinstance(one, Gap):
            yield marks.gap * (_columns(one) - 1) + " "
            is_known = False
            continue
        for half in (one.first, one.second):
            level = half[pin]
            changes = not is_known or level != before or _is_put(one, pin, half)
            piece = _bus if is_bus else _line
            drawn = piece(level, before if is_known else level, changes, marks)
            yield drawn + drawn[-1] * (_half(one) - _HALF)
            before, is_known = level, True


def _is_put(state: State, pin: str, half: Mapping[str, Level]) -> bool:
    """Whether a byte is put on a bus, though the same may have stood there: an address in T1
    and what is written in T2."""
    return half is state.first and (
        state.name == "T1" or (state.name == "T2" and pin == ADDRESS_DATA)
    )


def _line(level: Level, before: Level, changes: bool, marks: Marks) -> str:
    body = _body(level, marks)
    if not changes or level == before:
        return body * _HALF
    edge = marks.rise if level == 1 else marks.fall if level == 0 else body
    return edge + body * (_HALF - 1)


def _bus(level: Level, before: Level, changes: bool, marks: Marks) -> str:
    if not isinstance(level, int):
        return _body(level, marks) * _HALF
    return f"{marks.cross}{level:02X}" if changes else marks.bus * _HALF


def _body(level: Level, marks: Marks) -> str:
    if level is None:
        return marks.floating
    if level is UNDEFINED:
        return marks.undefined
    return marks.high if level else marks.low
