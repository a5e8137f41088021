"""Console lines from a file or a pipe."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from emu85.console.session import Session
from emu85.errors import Place, UserError


def do_lines(session: Session, lines: Iterable[str], file: str) -> None:
    """Execute console lines until they end, or ``quit``.

    Raises:
        UserError: the first line that fails, with its file, line and column.
    """
    for number, line in enumerate(lines, 1):
        line = line.rstrip("\r\n")
        try:
            session.execute(line)
        except UserError as error:
            raise _placed(error, file, number, line) from None
        finally:
            session.screen.end_serial()
        if session.is_over:
            return


def _placed(error: UserError, file: str, number: int, line: str) -> UserError:
    """The error with the place of the line; a place in another file is told first."""
    if error.place.file or error.place.line:
        inner = str(error)
        return UserError(inner, Place(file, number))
    return error.at(Place(file, number, error.place.column), source=line)


def follow_pipe(session: Session, lines: Iterable[str]) -> bool:
    """Execute lines as they come, going on after mistakes.  Whether all went well."""
    went_well = True
    for line in lines:
        went_well &= session.attempt(line)
        session.screen.end_serial()
        if session.is_over:
            break
    return went_well


def read_script(path: Path) -> list[str]:
    """The lines of a file of console lines.

    Raises:
        UserError: it cannot be read.
    """
    from emu85.firmware.files import read_text

    return read_text(path, pipes=True).splitlines()
