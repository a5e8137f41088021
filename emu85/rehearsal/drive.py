"""A rehearsal as what moves the board in a burn check (:mod:`emu85.burn.drive`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from emu85.board import shelf
from emu85.burn.drive import Driven
from emu85.errors import UserError
from emu85.machine import Machine
from emu85.profile import longest_slice
from emu85.rehearsal import Step, perform
from emu85.rehearsal.script import read_script
from emu85.rehearsal.stage import board_of, give_names


class RehearsedRun:
    """Performs a rehearsal on the machine it is handed, and tells what differs."""

    def __init__(self, path: str | Path) -> None:
        """Read the rehearsal.

        Raises:
            UserError: it cannot be read.
        """
        self._script = read_script(shelf.named_file(str(path)))

    def __call__(self, machine: Machine, look: Callable[[], None]) -> Driven:
        """Perform it; ``look`` is called whenever the machine rests, and often enough.

        Raises:
            UserError: a mistake in the rehearsal, or it is for another board.
        """
        self._check_board(machine)
        give_names(self._script, machine)
        looking = _Looking(machine, look)
        machine.companions.append(looking)
        try:
            verdict = perform(self._script, machine)
        finally:
            machine.companions.remove(looking)
        return Driven(
            f"the rehearsal {verdict.path.name}, {verdict.seconds:.3f} s of board time",
            [_failure(step) for step in verdict.failed],
        )

    def _check_board(self, machine: Machine) -> None:
        wanted = Path(board_of(self._script).file).resolve()
        there = machine.board.description.file
        if Path(there).resolve() != wanted:
            line = self._script.heading["board"][1]
            raise line.blame(
                UserError("the rehearsal is for another board", expected=f"'board: {there}'")
            )


def _failure(step: Step) -> str:
    return f"{Path(step.place.file).name}:{step.place.line}: {step.text}"


class _Looking:
    """Goes along with a machine and looks at it before its trace forgets anything new."""

    def __init__(self, machine: Machine, look: Callable[[], None]) -> None:
        self._machine = machine
        self._look = look
        self._looked_at = machine.t

    def begin(self) -> None:
        self._looked_at = min(self._looked_at, self._machine.t)  # power may have been off

    def next_t(self) -> int:
        return self._looked_at + longest_slice(self._machine)

    def rest(self) -> None:
        self._look()
        self._looked_at = self._machine.t

    def end(self) -> None:
        pass
