"""A timing diagram as a drawing (SVG 1.1), complete in itself and legible in black and white.

Edges stand at their picoseconds, so the figure can be laid beside that of a logic analyser.
A floating pin is a dashed line half way up, an unspecified level is hatched, a byte on a
bus stands in a hexagon, as in the data sheet's figures.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from itertools import accumulate
from typing import NamedTuple

import numpy as np

from emu85.bus.expand import State
from emu85.bus.pins import ACTIVE_LOW, CLK, IO_M, UNDEFINED, WIDTHS, Level
from emu85.timing.edges import Placer
from emu85.timing.stretch import SHOWN_AT_REST, Gap, Stretch, bands, drawn_pins
from emu85.timing.weave import Change, outputs

_T = 56
"""Units of a T-state."""
_GAP = 40
_LABEL = 84
_ROW = 30
_WAVE = 18
"""Height between low and high."""
_SLOPE = 2.5
_HEAD = 46
_FOOT = 26
_MARGIN = 12
_WIDEST = 1100
"""Units of the widest band, so that a page in landscape has it."""
_CHARACTER = 6.6
"""Width of a character of the labels."""
_SMALL = 5.7
"""The same of the line below the drawing."""
_BARRED = {IO_M: 1}
"""How many characters at the end have a bar over them, of pins that are not active low."""
_STYLE = """
text { font-family: 'DejaVu Sans Mono', Menlo, Consolas, monospace; font-size: 11px; fill: #000 }
.pin { text-anchor: end } .bar { stroke: #000; stroke-width: 1 }
.small { font-size: 9px } .middle { text-anchor: middle }
.wave { fill: none; stroke: #000; stroke-width: 1.3 }
.float { stroke: #000; stroke-width: 1.1; stroke-dasharray: 3 3; fill: none }
.byte { fill: #fff; stroke: #000; stroke-width: 1.1 }
.undefined { fill: url(#hatch); stroke: #000; stroke-width: 0.8 }
.t { stroke: #bbb; stroke-width: 0.6 } .cycle { stroke: #000; stroke-width: 0.9 }
""".strip()


class _Span(NamedTuple):
    """A level of a pin from one place to another, in units from the band's left edge.

    Attributes:
        is_anew: it is put on the pin at the start; the same may have stood there already.
    """

    start: float
    end: float
    level: Level
    is_anew: bool


class _Band(NamedTuple):
    """T-states that stand side by side.

    Attributes:
        states: with their left edges in units.
        width: units.
    """

    states: list[tuple[float, State | Gap]]
    width: float


def svg_diagram(
    stretch: Stretch,
    placer: Placer,
    *,
    title: str,
    pins: Sequence[str] | None = None,
    about: str = "",
) -> str:
    """The drawing.

    Args:
        title: stands above it, and is its accessible name.
        pins: names of the pins to draw; those of the bus, and what else is active, if not given.
        about: a line below: part, clock.
    """
    states = stretch.shown()
    shown = drawn_pins(states, pins)
    moved = _moves(stretch, placer)
    placed = [_placed(band) for band in bands(states, _WIDEST, _width)]
    height = _HEAD + len(shown) * _ROW + _FOOT
    top = 2 * _MARGIN + 14
    widest = max(
        _LABEL + max(band.width for band in placed), len(title) * _CHARACTER, len(about) * _SMALL
    )
    width = round(widest + 2 * _MARGIN)
    whole = top + len(placed) * height + _MARGIN + (16 if about else 0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{whole:g}" '
        f'viewBox="0 0 {width:g} {whole:g}" role="img">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape('; '.join(stretch.names))}</desc>",
        f"<style>{_STYLE}</style>",
        '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="5" height="5" fill="#fff"/>'
        '<path d="M0 0V5" stroke="#000" stroke-width="1"/></pattern></defs>',
        f'<rect width="{width:g}" height="{whole:g}" fill="#fff"/>',
        f'<text x="{_MARGIN}" y="{_MARGIN + 10}" font-weight="bold">{escape(title)}</text>',
    ]
    for number, band in enumerate(placed):
        parts.append(f'<g transform="translate({_MARGIN + _LABEL} {top + number * height:g})">')
        parts += _draw(band, stretch, shown, moved, placer)
        parts.append("</g>")
    if about:
        parts.append(
            f'<text class="small" x="{_MARGIN}" y="{whole - _MARGIN:g}">{escape(about)}</text>'
        )
    return "\n".join([*parts, "</svg>", ""])


def _width(one: State | Gap) -> int:
    return _GAP if isinstance(one, Gap) else _T


def _placed(states: Sequence[State | Gap]) -> _Band:
    edges = list(accumulate(map(_width, states), initial=0))
    return _Band(list(zip(edges, states, strict=False)), edges[-1])


def _draw(
    band: _Band,
    stretch: Stretch,
    shown: Sequence[str],
    moved: Mapping[str, Sequence[Change]],
    placer: Placer,
) -> Iterator[str]:
    bottom = _HEAD + len(shown) * _ROW
    yield from _heads(band, stretch.names, bottom, placer)
    for row, pin in enumerate(shown):
        base = _HEAD + row * _ROW + _ROW - 6
        yield f'<text class="pin" x="-8" y="{base - 4}">{escape(pin)}</text>'
        barred = len(pin) if pin in ACTIVE_LOW else _BARRED.get(pin, 0)
        if barred:  # drawn, since not every viewer heeds an overline
            yield f'<path class="bar" d="M-8 {base - 15}h-{barred * _CHARACTER:g}"/>'
        yield from _wave(list(_spans(band, pin, moved, placer)), pin, base)
        for x, one in band.states:
            if isinstance(one, Gap):
                yield (
                    f'<rect x="{x + 4:g}" y="{base - _WAVE - 3}" width="{_GAP - 8}" '
                    f'height="{_WAVE + 6}" fill="#fff"/>'
                )


def _heads(band: _Band, names: Sequence[str], bottom: float, placer: Placer) -> Iterator[str]:
    record = -1
    ends = {one.record: x + _width(one) for x, one in band.states}
    for x, one in band.states:
        begins = one.record != record
        record = one.record
        if isinstance(one, Gap):
            yield (f'<text class="small middle" x="{x + _GAP / 2:g}" y="34">… {one.text} …</text>')
            continue
        kind = "cycle" if begins else "t"
        yield f'<path class="{kind}" d="M{x:g} {4 if begins else 24}V{bottom}"/>'
        if begins:
            name = _cut(names[one.record], ends[one.record] - x - 6)
            yield f'<text x="{x + 4:g}" y="14">{escape(name)}</text>'
        yield f'<text class="middle" x="{x + _T / 2:g}" y="34">{one.name}</text>'
        ns = placer.start_ps(one.t) / 1000
        yield f'<text class="small" x="{x + 2:g}" y="{bottom + 14}">{ns:.0f}</text>'
    yield f'<path class="t" d="M{band.width:g} 24V{bottom}"/>'
    yield f'<text class="small pin" x="-8" y="{bottom + 14}">ns</text>'


def _cut(name: str, room: float) -> str:
    """A name, shortened to the units that it has."""
    most = int(room / _CHARACTER)
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"


def _moves(stretch: Stretch, placer: Placer) -> dict[str, list[Change]]:
    """What is put on each pin, in order, by the machine cycle before too."""
    records = stretch.records
    if stretch.before is not None:
        records = np.concatenate([[stretch.before], records])
    moved: dict[str, list[Change]] = {}
    for change in outputs(records, stretch.end_t, placer, after=stretch.after, ends=SHOWN_AT_REST):
        moved.setdefault(change.pin, []).append(change)
    return moved


def _spans(
    band: _Band, pin: str, moved: Mapping[str, Sequence[Change]], placer: Placer
) -> Iterator[_Span]:
    """The levels of a pin within the band, none across a gap."""
    of_pin = moved.get(pin, [])
    for x, one in band.states:
        if isinstance(one, Gap):
            continue
        start, end = placer.start_ps(one.t), placer.start_ps(one.t + 1)
        place = bisect_right(of_pin, start, key=lambda change: change.ps)
        level = of_pin[place - 1].level if place else one.first[pin]
        is_anew = place > 0 and of_pin[place - 1].ps == start
        at = x
        while place < len(of_pin) and of_pin[place].ps < end:
            to = x + (of_pin[place].ps - start) / (end - start) * _T
            yield _Span(at, to, level, is_anew)
            at, level, is_anew = to, of_pin[place].level, True
            place += 1
        yield _Span(at, x + _T, level, is_anew)


def _wave(spans: Sequence[_Span], pin: str, base: float) -> Iterator[str]:
    joined: list[_Span] = []
    is_bus = WIDTHS.get(pin, 1) > 1
    for span in spans:
        is_put = is_bus and span.is_anew
        continues = joined and joined[-1].level == span.level and not is_put
        if continues and abs(joined[-1].end - span.start) < 0.01:
            joined[-1] = joined[-1]._replace(end=span.end)
        else:
            joined.append(span)
    if is_bus:
        for span in joined:
            yield from _bus(span, base)
        return
    yield from _line(joined, base, 1.0 if pin == CLK else _SLOPE)


def _bus(span: _Span, base: float) -> Iterator[str]:
    high, middle = base - _WAVE, base - _WAVE / 2
    a, b = span.start, span.end
    if span.level is None:
        yield f'<path class="float" d="M{a:.1f} {middle}H{b:.1f}"/>'
        return
    slope = min(_SLOPE, (b - a) / 2)
    points = (
        f"{a:.1f},{middle} {a + slope:.1f},{high} {b - slope:.1f},{high} {b:.1f},{middle} "
        f"{b - slope:.1f},{base} {a + slope:.1f},{base}"
    )
    kind = "undefined" if span.level is UNDEFINED else "byte"
    yield f'<polygon class="{kind}" points="{points}"/>'
    if isinstance(span.level, int) and b - a >= 16:
        yield (f'<text class="middle" x="{(a + b) / 2:.1f}" y="{base - 5}">{span.level:02X}</text>')


def _line(spans: Sequence[_Span], base: float, slope: float) -> Iterator[str]:
    """A line that joins where the spans meet; floats and unspecified stretches are its gaps."""
    path: list[str] = []
    for number, span in enumerate(spans):
        before = spans[number - 1] if number else None
        meets = before is not None and abs(before.end - span.start) < 0.01
        if not isinstance(span.level, int):
            yield from _not_driven(span, base)
            continue
        y = base - _WAVE * span.level
        joins = meets and before is not None and isinstance(before.level, int)
        path.append(
            f"L{span.start + slope:.1f} {y}H{span.end:.1f}"
            if joins
            else f"M{span.start:.1f} {y}H{span.end:.1f}"
        )
    if path:
        yield f'<path class="wave" d="{"".join(path)}"/>'


def _not_driven(span: _Span, base: float) -> Iterator[str]:
    if span.level is None:
        middle = base - _WAVE / 2
        yield f'<path class="float" d="M{span.start:.1f} {middle}H{span.end:.1f}"/>'
        return
    yield (
        f'<rect class="undefined" x="{span.start:.1f}" y="{base - _WAVE}" '
        f'width="{span.end - span.start:.1f}" height="{_WAVE}"/>'
    )
