"""A burn check from beginning to end."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from emu85.board import BoardDescription, fit
from emu85.burn.chips import Programmed, as_burnt, content, covered, halves
from emu85.burn.drive import Drive
from emu85.burn.flow import Hints
from emu85.burn.ground import Ground
from emu85.burn.places import Places
from emu85.burn.ride import Ride, ride
from emu85.burn.study import Study, Wanted
from emu85.burn.survey import survey
from emu85.firmware import Image
from emu85.machine import Machine

_TRACE = 250_000
"""Records that the run keeps at a time."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What is to be examined.

    Attributes:
        image: the bytes.
        board: where they are to run; RAM on a battery begins like other RAM.
        symbols, equated: names in place of the image's own.
        hints: what cannot be seen in the code.
        drive: what moves the board; None for no run.
    """

    image: Image
    board: BoardDescription
    symbols: Mapping[str, int] = field(default_factory=dict)
    equated: Collection[str] = ()
    hints: Hints = field(default_factory=Hints)
    drive: Drive | None = None


def study(subject: Subject, wanted: Wanted) -> Study:
    """Examine an image on its board.

    Raises:
        UserError: a board that cannot be fitted.
    """
    board = replace(
        subject.board,
        memory=tuple(replace(chip, battery_file=None, image=None) for chip in subject.board.memory),
    )
    burning = as_burnt(board, subject.image, wanted.fill)
    ground = Ground(fit(board), subject.image, burning)
    symbols = subject.symbols or subject.image.symbols
    equated = subject.equated if subject.symbols else subject.image.equated
    named = replace(burning, symbols=symbols, equated=frozenset(equated))
    ridden = None if subject.drive is None else _ride(board, named, ground, subject.drive)
    executed = [] if ridden is None else np.flatnonzero(ridden.execution.fetches).tolist()
    clean = ridden is not None and all(one.text in ridden.expected for one in ridden.findings)
    served = [] if ridden is None else ridden.served
    found = survey(ground, subject.hints, executed, clean=clean, served=served)
    chips = [content(use, subject.image, wanted.fill) for use in covered(board, subject.image)]
    places = Places(subject.image, symbols, equated)
    return Study(wanted, ground, chips, _burnt(chips, wanted), places, found, ridden)


def _ride(board: BoardDescription, image: Image, ground: Ground, drive: Drive) -> Ride:
    machine = Machine(fit(board), trace=_TRACE)
    machine.load(image)
    machine.board.leave_blank(ground.blank)
    machine.power()
    return ride(machine, drive)


def _burnt(chips: list[Programmed], wanted: Wanted) -> list[Programmed]:
    if not wanted.halves or wanted.part is None:
        return chips
    return [half for chip in chips for half in halves(chip, wanted.part, wanted.fill)]
