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


File = tuple[str, str | Path | None]
"""What a file is, and where; None if it is not asked for."""


def keep_apart(read: Iterable[File], written: Iterable[File]) -> None:
    """Refuse to write over what is read, or one file over another.

    Raises:
        UserError: a file that is to be written is another one as well.
    """
    taken = {Path(file).resolve(): what for what, file in read if file is not None}
    for what, file in written:
        if file is None:
            continue
        other = taken.setdefault(Path(file).resolve(), what)
        if other != what:
            raise UserError(
                f"{what} would be written over {other}, {file}", expected="another name"
            )
