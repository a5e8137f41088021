"""A rehearsal as what moves the board in a burn check (:mod:`emu85.burn.drive`)."""

from __future__ import annotations

import textwrap
from pathlib import Path

from emu85.board import shelf
from emu85.burn.drive import Driven
from emu85.errors import UserError
from emu85.machine import Machine
from emu85.rehearsal import Step, perform
from emu85.rehearsal.script import read_script
from emu85.rehearsal.stage import board_of, give_names

_MOST_SEEN = 80
"""Characters of what was expected or seen that are told."""


class RehearsedRun:
    """Performs a rehearsal on the machine it is handed, and tells what differs."""

    def __init__(self, path: str | Path) -> None:
        """Read the rehearsal.

        Raises:
            UserError: it cannot be read.
        """
        self._script = read_script(shelf.named_file(str(path)))

    def __call__(self, machine: Machine) -> Driven:
        """Perform it.

        Raises:
            UserError: a mistake in the rehearsal, or it is for another board.
        """
        self._check_board(machine)
        give_names(self._script, machine)
        verdict = perform(self._script, machine)
        return Driven(
            f"the rehearsal {verdict.path.name}, {verdict.seconds:.3f} s of board time",
            [_failure(step) for step in verdict.failed],
            verdict.expected_findings,
        )

    def _check_board(self, machine: Machine) -> None:
        wanted = Path(board_of(self._script).file).resolve()
        there = machine.board.description.file
        if Path(there).resolve() != wanted:
            line = self._script.heading["board"][1]
            raise line.blame(
                UserError(
                    "the rehearsal is for another board",
                    expected=f"'board: {shelf.board_name(there)}'",
                )
            )


def _failure(step: Step) -> str:
    differ = [
        f"expected {_on_a_line(one.expected)}, seen {_on_a_line(one.seen)}"
        for one in step.differences
    ]
    line = f"{Path(step.place.file).name}:{step.place.line}: {step.text}"
    return "; ".join([line, *differ])


def _on_a_line(text: str) -> str:
    return textwrap.shorten(text, _MOST_SEEN, placeholder=" ...")
