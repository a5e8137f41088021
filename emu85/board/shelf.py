"""Where the demo boards and firmware that come with the program are kept.

An installed package carries them in folders of its own; in a checkout they are
folders at the top of the repository.
"""

from __future__ import annotations

from pathlib import Path

from emu85.errors import UserError, nearest

_PACKAGE = Path(__file__).resolve().parent.parent
BOARDS = "boards"
FIRMWARE = "firmware_examples"


def folder(shelf: str) -> Path:
    """The folder of a shelf (:data:`BOARDS` or :data:`FIRMWARE`); may not exist."""
    carried = _PACKAGE / shelf
    return carried if carried.is_dir() else _PACKAGE.parent / shelf


def board_names() -> list[str]:
    """Names of the demo boards, sorted."""
    return sorted(path.stem for path in folder(BOARDS).glob("*.yaml"))


def firmware_names() -> list[str]:
    """File names of the demo firmware, sorted."""
    return sorted(path.name for path in folder(FIRMWARE).glob("*.asm"))


def find_board(name_or_path: str) -> Path:
    """The file of a demo board by its name, or of any board by its path.

    Raises:
        UserError: neither.
    """
    if name_or_path in board_names():
        return folder(BOARDS) / f"{name_or_path}.yaml"
    if "\0" not in name_or_path and Path(name_or_path).is_file():
        return Path(name_or_path)
    names = board_names()
    is_folder = name_or_path and "\0" not in name_or_path and Path(name_or_path).is_dir()
    raise UserError(
        f"no board {name_or_path!r}: it is a folder" if is_folder else f"no board {name_or_path!r}",
        expected=f"a board file or one of {', '.join(names)}",
        nearest=nearest(name_or_path, names),
    )


def board_name(file: str) -> str:
    """What a board is called for: the name of a demo board, or its file's path."""
    path = Path(file)
    is_demo = path.resolve().parent == folder(BOARDS).resolve()
    return path.stem if is_demo else file


def named_file(written: str) -> Path:
    """The file that a command names: at that path, or else of that name among the demo firmware.

    One that is in neither place stays as it is written, for its reader to complain of.
    """
    path = Path(written)
    if "\0" in written or path.exists():
        return path
    shipped = folder(FIRMWARE) / path
    return shipped if shipped.is_file() else path


def find_firmware(written: str, beside: Path | None = None) -> Path | None:
    """A firmware file: in the folder ``beside``, else on the shelf; None if in neither."""
    for place in (beside, folder(FIRMWARE)):
        if place is not None and (place / written).is_file():
            return place / written
    return None
