"""A plot of the routines as SVG: a bar each, own time solid, callees hatched.

The two are told apart by pattern and outline, so a print in black and white is as good.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from emu85.profile.report import Report, RoutineRow
from emu85.wording import cut

MOST = 24
"""Bars."""
_WIDTH, _NAMES, _BAR, _ROW = 860, 250, 470, 22
_TOP, _STEPS = 46, 4
_LONGEST = 32
"""Letters of a name that fit beside a bar."""


def write_plot(report: Report) -> str:
    """The ``svg`` element, for a page."""
    rows = sorted(report.routines, key=lambda row: (-row.spent.whole, -row.spent.own))[:MOST]
    longest = max((row.spent.whole for row in rows), default=0) or 1
    height = _TOP + _ROW * len(rows) + 8
    return "\n".join(
        [
            f'<svg viewBox="0 0 {_WIDTH} {height}" role="img" xmlns="http://www.w3.org/2000/svg" '
            'aria-label="T-states by routine, own and with callees">',
            '<defs><pattern id="callees" width="6" height="6" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><rect width="6" height="6" fill="#fff"/>'
            '<line x1="0" y1="0" x2="0" y2="6" stroke="#111" stroke-width="1.5"/></pattern></defs>',
            *_key(),
            *_axis(report, longest, height),
            *(line for n, row in enumerate(rows) for line in _bar(report, row, n, longest)),
            "</svg>",
        ]
    )


def _key() -> Iterator[str]:
    yield _box(_NAMES, 2, 14, "#111")
    yield _text(_NAMES + 20, 13, "own")
    yield _box(_NAMES + 70, 2, 14, "url(#callees)")
    yield _text(_NAMES + 90, 13, "callees; interrupts stand by themselves")


def _axis(report: Report, longest: int, height: int) -> Iterator[str]:
    for step in range(_STEPS + 1):
        x = _NAMES + _BAR * step / _STEPS
        yield f'<line x1="{x:.1f}" y1="{_TOP - 4}" x2="{x:.1f}" y2="{height - 4}" stroke="#999"/>'
        share = report.share(longest) * step / _STEPS
        yield _text(x, _TOP - 9, f"{share:.3g} %", "middle")


def _bar(report: Report, row: RoutineRow, number: int, longest: int) -> Iterator[str]:
    y = _TOP + _ROW * number
    own = _BAR * row.spent.own / longest
    whole = _BAR * row.spent.whole / longest
    yield _text(_NAMES - 8, y + 14, cut(row.name, _LONGEST), "end")
    yield _box(_NAMES, y + 3, whole, "url(#callees)")
    yield _box(_NAMES, y + 3, own, "#111")
    shares = f"{report.share(row.spent.own):.1f} % / {report.share(row.spent.whole):.1f} %"
    yield _text(_NAMES + _BAR + 8, y + 14, shares)


def _box(x: float, y: float, width: float, fill: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y}" width="{width:.1f}" height="14" fill="{fill}" stroke="#111"/>'
    )


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y}" text-anchor="{anchor}" font-size="12" '
        f'font-family="monospace">{escape(text)}</text>'
    )
