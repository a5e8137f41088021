"""Rehearsals"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.errors import UserError
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.rehearsal.recorder import Recorder


@form("rehearse FILE", "perform a rehearsal on a board of its own")
def rehearse(session: Session, file: Path) -> None:
    """This board stays as it is. Rehearsals of the demo firmware are found by their names.
    'emu85 rehearse --lines' prints what may stand in one."""
    from emu85.board.shelf import named_file
    from emu85.rehearsal import rehearse as perform
    from emu85.rehearsal.report import report, summary

    verdict = perform(named_file(str(file)))
    session.screen.show(summary(verdict))
    if not verdict.passed:
        session.screen.show(report(verdict, session.screen.width))


@form("record", "whether a recording is made")
def record(session: Session) -> None:
    if session.recorder is None:
        session.screen.show("Nothing is recorded; 'record FILE' begins.")
    else:
        session.screen.show(f"{_about(session.recorder)} so far; 'record end' closes it.")


@form("record end", "close the recording")
def record_end(session: Session) -> None:
    recorder = session.recorder
    if recorder is None:
        raise UserError("nothing is recorded", expected="'record FILE' first")
    recorder.end()
    session.screen.show(f"{_about(recorder)}; 'rehearse {recorder.path}' performs it.")


@form("record FILE", "write what is done and seen as a rehearsal")
def record_to(session: Session, file: Path) -> None:
    """Each line is written with what was seen: stops and addresses reached, what the serial
    ends have sent, findings, and what you looked at, by symbols where there are some. Where
    a 'run for TIME' happened to end is left out, so another build can pass.
    What was done before is written too, so that a rehearsal can come to where you are."""
    _begin(session, file, exact=False)


@form("record FILE exact", "the same, with every register and T-state")
def record_exactly(session: Session, file: Path) -> None:
    """For the same firmware on the same board, to the T-state: after each line where and
    why it is held, registers, and the time. One NOP more is a difference."""
    _begin(session, file, exact=True)


def _begin(session: Session, file: Path, *, exact: bool) -> None:
    from emu85.rehearsal.recorder import Recorder
    from emu85.rehearsal.script import SUFFIX

    if session.recorder is not None:
        raise UserError(f"{session.recorder.path} is being recorded", expected="'record end' first")
    if file.suffix != SUFFIX:
        with unfit("file"):
            raise UserError(
                f"{file.name!r} is no name of a rehearsal", expected=f"a name that ends in {SUFFIX}"
            )
    session.recorder = Recorder(session, file, exact=exact)
    session.screen.show(f"{file}: recording; 'record end' closes it.")


def _about(recorder: Recorder) -> str:
    return f"{recorder.path}: {counted(recorder.entered, 'line')}"
