"""The firmware that a command is about: what the user named, or what the board runs by itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.firmware import Image


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


def binary_at(text: str | None) -> int | None:
    """Where a .bin stands, as ``--at`` says; None if it does not.

    Raises:
        UserError: it is no address.
    """
    from emu85.console.numbers import plain_address

    return None if text is None else plain_address(text)


def with_symbols(image: Image, file: str | None) -> Image:
    """The image with the symbols of a file in place of its own; as it is for None.

    Raises:
        UserError: the file cannot be read.
    """
    from emu85.firmware import read_names
    from emu85.firmware.files import read_text

    if not file:
        return image
    names = read_names(read_text(Path(file)), file)
    return replace(image, symbols=names.values, equated=frozenset(names.equated))
