"""The firmware that a command is about: what the user named, or what the board runs by itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.board import BoardDescription


def firmware_file(named: str | None, board: BoardDescription) -> Path:
    """The file to read.

    Args:
        named: a path or the name of demo firmware; None for the board's own.

    Raises:
        UserError: nothing is named, and the board has no firmware of its own or it is
            not where the board file says.
    """
    from emu85.board import fit
    from emu85.board.shelf import named_file

    if named is not None:
        return named_file(named)
    own = fit(board).firmware
    if own is None:
        raise UserError("no firmware is named, and the board has none of its own")
    return own
