"""Files that a command writes, kept apart from those it reads."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from emu85.errors import UserError

PRINTED = "-"
"""As the name of a file: standard output."""


def file_of(written: str | None) -> str | None:
    """The file that an option names, unless it is to be printed."""
    return None if written == PRINTED else written


def keep_apart(files: Iterable[tuple[str, str | Path | None]]) -> None:
    """Refuse to write over what is read, or one file over another.

    Args:
        files: what each is, and where; those that are read first, None for one that is
            not asked for.

    Raises:
        UserError: two of the files are the same one.
    """
    taken: dict[Path, str] = {}
    for what, file in files:
        if file is None:
            continue
        other = taken.setdefault(Path(file).resolve(), what)
        if other != what:
            raise UserError(
                f"{what} would be written over {other}, {file}", expected="another name"
            )
