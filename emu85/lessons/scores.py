"""Marks as rows of a CSV file (RFC 4180) that a whole class may add to."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from emu85.errors import Place, UserError
from emu85.lessons.sitting import Mark

COLUMNS = (
    "time",
    "student",
    "lesson",
    "seed",
    "exercise",
    "asked",
    "answer",
    "right answer",
    "outcome",
    "tries",
    "hints",
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet would take a cell that begins so for a formula."""


class Scores:
    """Adds a row for each mark; the file gets its heading when it is made.

    A row is written by one call at the end of the file, so students who share the
    file do not overwrite each other, and what is there is never touched.
    """

    def __init__(self, file: str | Path, student: str, lesson: str, seed: str) -> None:
        """Make the file if it is not there.

        Raises:
            UserError: it cannot be written, or holds something else.
        """
        self._file = Path(file)
        self._who = (student, lesson, seed)
        heading = _row(COLUMNS)
        try:
            with self._file.open("a+b") as stream:
                stream.seek(0)
                found = stream.readline()
                if not found:
                    stream.write(heading)
        except OSError as error:
            raise self._unwritable(error) from None
        if found and found.strip() != heading.strip():
            raise UserError(
                "this file holds no scores",
                Place(str(file), 1),
                expected=f"a first line {heading.decode().strip()!r}, or a new file",
            )

    def add(self, mark: Mark) -> None:
        """Write the row of a mark.

        Raises:
            UserError: the file cannot be written.
        """
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        row = _row((now, *self._who, *map(str, mark)))
        try:
            number = os.open(self._file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
            try:
                os.write(number, row)
            finally:
                os.close(number)
        except OSError as error:
            raise self._unwritable(error) from None

    def _unwritable(self, error: OSError) -> UserError:
        return UserError(f"the scores cannot be written: {error.strerror}", Place(str(self._file)))


def _row(cells: Sequence[str]) -> bytes:
    out = io.StringIO()
    safe = (f"'{cell}" if cell.startswith(_FORMULA) else cell for cell in cells)
    csv.writer(out).writerow(safe)
    return out.getvalue().encode()
