"""A stretch of the trace as a file: drawing, diagram of characters, or value change dump."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

from emu85.board.quantities import hertz_text
from emu85.errors import Place, UserError
from emu85.firmware import atomic_write
from emu85.firmware.files import atomic_stream
from emu85.timing.ac_table import Part
from emu85.timing.diagram_svg import svg_diagram
from emu85.timing.diagram_text import key_line, text_diagram
from emu85.timing.edges import Placer
from emu85.timing.stretch import Stretch
from emu85.timing.vcd import VcdWriter

SVG, VCD, TEXT = ".svg", ".vcd", ".txt"
SUFFIXES = (SVG, VCD, TEXT)
MOST_DRAWN = 1000
"""Machine cycles in a drawing; a dump may have any number."""
_TEXT_WIDTH = 140


class Figure:
    """How a board's waveforms are made.

    Attributes:
        placer: places the edges.
        about: part and crystal, for a line below a drawing.
        warning: that the part is not made for the crystal; empty if it is.
    """

    def __init__(self, board: str, part: Part, crystal: Fraction) -> None:
        self.board = board
        self.placer = Placer(part, crystal)
        t_ns = float(self.placer.t_ps) / 1000
        self.about = (
            f"{part.name} at a crystal of {hertz_text(crystal)}: a T-state is {t_ns:.1f} ns; edges "
            "at the limits of its AC table"
        )
        self.warning = ""
        if not part.is_made_for(crystal):
            made_for = f"{part.t_cyc_min} to {part.t_cyc_max} ns"
            self.warning = (
                f"an {part.name} is made for T-states of {made_for}: at {t_ns:.1f} ns the edges "
                "mean nothing"
            )
            self.about = f"{self.about}. BEWARE: {self.warning}"

    def title(self, stretch: Stretch) -> str:
        """What a drawing is of."""
        return f"{self.board}, from T-state {int(stretch.records['t'][0])}"


def check_drawable(count: int) -> None:
    """Refuse what is too long to be looked at.

    Raises:
        UserError: it is.
    """
    if count > MOST_DRAWN:
        raise UserError(
            f"{count} machine cycles are too many to be drawn",
            expected=f"at most {MOST_DRAWN}, or a file that ends in {VCD}",
        )


def svg_text(stretch: Stretch, figure: Figure, pins: Sequence[str] | None = None) -> str:
    """The drawing, complete in itself."""
    return svg_diagram(
        stretch, figure.placer, title=figure.title(stretch), pins=pins, about=figure.about
    )


def write_wave(
    file: Path, stretch: Stretch, figure: Figure, pins: Sequence[str] | None = None
) -> None:
    """Write a stretch in the form that the file's suffix tells.

    Args:
        pins: those to draw; a dump has all of them.

    Raises:
        UserError: another suffix, a stretch that is too long to be drawn, or a file that
            cannot be written.
    """
    suffix = file.suffix.casefold()
    if suffix not in SUFFIXES:
        raise UserError(
            f"{file.name!r} does not say what to draw",
            Place(str(file)),
            expected=f"a name that ends in {', '.join(SUFFIXES)}",
        )
    if suffix == VCD:
        with atomic_stream(file) as stream:
            writer = VcdWriter(stream, figure.placer, figure.board)
            writer.feed(stretch.records)
            writer.finish(stretch.end_t)
        return
    check_drawable(len(stretch.records))
    if suffix == SVG:
        text = svg_text(stretch, figure, pins)
    else:
        lines = [*text_diagram(stretch, width=_TEXT_WIDTH, pins=pins), "", key_line()]
        text = "\n".join([*lines, ""])
    atomic_write(file, text)
