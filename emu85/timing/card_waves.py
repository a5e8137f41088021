"""The waveforms of a timing card, from the run that was made for it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from emu85.board.quantities import hertz_text
from emu85.isa import INSTRUCTIONS
from emu85.timing.cards import Card, Way
from emu85.timing.diagram_svg import svg_diagram
from emu85.timing.edges import Placer
from emu85.timing.stretch import Stretch, cycle_name
from emu85.timing.subjects import INPUTS, Event


def stretch(card: Card, way: Way) -> Stretch:
    """A way's machine cycles to be drawn, those before and after it too; time begins with it."""
    ran = way.ran
    records = ran.records.copy()
    start = int(records["t"][0])
    records["t"] -= start
    names = [_name(card, place, record) for place, record in enumerate(records, -ran.counted.start)]
    return Stretch(records, ran.end_t - start, names)


def _name(card: Card, place: int, record: Any) -> str:
    """What stands above a machine cycle: ``place`` counts from the first of the card's own."""

    def describe(_: Any) -> str:
        if place > 0 and card.subject.event is Event.INTR:
            return ""  # a further byte of the jammed instruction
        if place == 0 and card.instruction is not None:
            return card.subject.name
        return INSTRUCTIONS[int(record["data"])].text()

    return cycle_name(record, describe, lambda: _taken(card))


def _taken(card: Card) -> str:
    """The input that is acknowledged: RST 7.5 ends the halt."""
    return INPUTS[Event.RST75] if card.subject.event is Event.HALT else card.subject.name


_SHARED = re.compile(r"(?:<style>.*?</style>|<defs>.*?</defs>)\n?", re.S)
"""What is the same in every drawing, and must stand but once on a page."""


def drawing(card: Card, way: Way) -> str:
    """A way's waveform as SVG, edges placed for the card's part and crystal."""
    name = f", {way.name}" if way.name else ""
    return svg_diagram(
        stretch(card, way),
        Placer(card.part, card.crystal),
        title=f"{card.subject.name}{name}",
        about=f"{card.part.name} at {hertz_text(card.crystal)}",
    )


def shared(drawings: Iterable[str]) -> str:
    """Styles and patterns of drawings on one page, as an element to stand before them all."""
    found = dict.fromkeys(part for each in drawings for part in _SHARED.findall(each))
    return f'<svg width="0" height="0" style="position:absolute">{"".join(found)}</svg>'


def without_shared(svg: str) -> str:
    """A drawing for a page that has what is shared."""
    return _SHARED.sub("", svg)
