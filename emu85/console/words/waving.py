"""Waveforms"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console.registry import form
from emu85.console.views.code import begun
from emu85.errors import UserError
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.timing.stretch import Stretch


@form("wave [COUNT]", "the last machine cycles, 3 or so many, drawn")
def wave(session: Session, count: int = 3) -> None:
    """What stood on the pins in each half of each T-state: CLK is low in the first and high
    in the second. Pins at rest, such as HOLD, are left out. Inputs are shown as they were
    sampled for the machine cycle."""
    _show(session, count, None)


@form("wave COUNT pins PIN...", "the same, of these pins")
def wave_pins(session: Session, count: int, pin: list[list[str]]) -> None:
    """wave 3 pins ALE AD0-AD7 RST 7.5     Commas between the names do no harm."""
    _show(session, count, list(chain(*pin)))


@form("wave COUNT to FILE", ".svg, .txt, or .vcd for waveform viewers")
def wave_to(session: Session, count: int, file: Path) -> None:
    """Edges stand at their nanoseconds, by the AC table of the board's CPU part. A .vcd has
    every pin and may be as long as the trace."""
    _write(session, count, file, None)


@form("wave COUNT to FILE pins PIN...", "a drawing of these pins")
@form("wave COUNT pins PIN... to FILE", "the same, said the other way round")
def wave_pins_to(session: Session, count: int, file: Path, pin: list[list[str]]) -> None:
    _write(session, count, file, list(chain(*pin)))


def _show(session: Session, count: int, pins: Sequence[str] | None) -> None:
    from emu85.timing.diagram_text import BLOCKS, PLAIN, key_line, text_diagram
    from emu85.timing.wave_files import check_drawable

    check_drawable(min(count, len(session.machine.trace)))
    marks = BLOCKS if session.screen.is_terminal else PLAIN
    stretch = _last(session, count)
    for line in text_diagram(stretch, width=session.screen.width, pins=pins, marks=marks):
        session.screen.show(line)
    session.screen.show(key_line(marks))


def _write(session: Session, count: int, file: Path, pins: Sequence[str] | None) -> None:
    from emu85.timing.ac_table import part_named
    from emu85.timing.wave_files import Figure, write_wave

    description = session.machine.board.description
    figure = Figure(description.name, part_named(description.cpu), description.crystal)
    stretch = _last(session, count)
    write_wave(file, stretch, figure, pins)
    session.screen.show(
        f"{file.name}: {counted(len(stretch.records), 'machine cycle')}, "
        f"{counted(stretch.end_t - int(stretch.records['t'][0]), 'T-state')}"
    )


def _last(session: Session, count: int) -> Stretch:
    from emu85.timing.stretch import stretch_of

    machine = session.machine
    held = len(machine.trace)
    if not held:
        raise UserError("no machine cycle has been done since power came on")
    first = max(held - count, 0)
    return stretch_of(machine, first, count, lambda record: begun(machine, record))
