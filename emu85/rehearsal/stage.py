"""The board that a rehearsal is performed on, set up from its heading."""

from __future__ import annotations

from pathlib import Path

from emu85.board import BoardDescription, load_board, shelf
from emu85.errors import Place, UserError, nearest
from emu85.firmware import Image, read_image, read_names
from emu85.firmware.files import read_text
from emu85.machine import Machine
from emu85.rehearsal.script import Script


def board_of(script: Script) -> BoardDescription:
    """The board that the heading names.

    Raises:
        UserError: there is none, or its file cannot be taken.
    """
    name, line = script.heading["board"]
    beside = script.folder / Path(name)
    try:
        return load_board(str(beside) if _is_file(beside) else _known(name))
    except UserError as error:
        here = Place(column=line.text.find(name) + 1)
        raise line.blame(error if error.place.file else error.at(here)) from None


def set_up(script: Script, firmware: str | Path | Image | None = None) -> Machine:
    """A machine at power-on, as the heading says.

    RAM on a battery begins like other RAM and is kept in no file, so that the verdict
    depends on nothing but the rehearsal.

    Args:
        firmware: what is burnt instead of the heading's firmware.  If it has no symbols
            but the same bytes, the heading's firmware gives them.

    Raises:
        UserError: the board or the firmware cannot be taken.
    """
    machine = Machine.from_board(board_of(script).without_batteries(), trace=script.trace())
    own = None if firmware is not None else _own_firmware(script, machine)
    if own is not None:
        _burn(script, machine, own)
    elif firmware is not None:
        machine.load(firmware if isinstance(firmware, Image) else _read(script, Path(firmware)))
    give_names(script, machine)
    return machine


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that no file can have
        return False


def _known(name: str) -> str:
    names = shelf.board_names()
    if name not in names:
        raise UserError(
            f"no board {name!r}",
            expected=f"a board file beside the rehearsal, or one of {', '.join(names)}",
            nearest=nearest(name, names),
        )
    return name


def _own_firmware(script: Script, machine: Machine) -> Path | None:
    """The heading's firmware, or the board's."""
    if "firmware" not in script.heading:
        return machine.board.firmware
    name, line = script.heading["firmware"]
    beside = script.folder / Path(name)
    found = beside if _is_file(beside) else shelf.folder(shelf.FIRMWARE) / Path(name)
    if not _is_file(found):
        raise line.blame(
            UserError(
                f"no firmware file {name!r}",
                expected="a file named from the rehearsal's folder",
                nearest=nearest(name, _names_in(script.folder)),
            )
        )
    return found


def _names_in(folder: Path) -> list[str]:
    try:
        return [path.name for path in folder.iterdir()]
    except (OSError, ValueError):
        return []


def _burn(script: Script, machine: Machine, path: Path) -> None:
    line = script.heading.get("firmware", script.heading["board"])[1]
    try:
        machine.load(_read(script, path))
    except UserError as error:
        raise line.blame(error) from None


def _read(script: Script, path: Path) -> Image:
    is_binary = path.suffix.casefold() in (".bin", ".rom")
    return read_image(path, at=script.address() if is_binary else None)


def give_names(script: Script, machine: Machine) -> None:
    """Give a machine without symbols those of the heading's firmware, if it holds just that.

    The heading's own symbols come to it in any case.

    Raises:
        UserError: the heading's symbol file cannot be read.
    """
    if not machine.symbols:
        _name_alike(script, machine)
    _add_symbols(script, machine)


def _name_alike(script: Script, machine: Machine) -> None:
    try:
        path = _own_firmware(script, machine)
        own = None if path is None else _read(script, path)
    except UserError:
        return  # what is burnt stands in for a firmware that need not be there
    if own is not None and _holds(machine, own):
        machine.symbols = dict(own.symbols)
        machine.equated = set(own.equated)


def _holds(machine: Machine, image: Image) -> bool:
    """Whether every byte of an image is in the machine's memory."""
    memory = machine.memory
    return all(memory[each.start : each.end] == each.data for each in image.segments)


def _add_symbols(script: Script, machine: Machine) -> None:
    if "symbols" not in script.heading:
        return
    name, line = script.heading["symbols"]
    file = script.folder / Path(name)
    try:
        found = read_names(read_text(file), str(file))
    except UserError as error:
        raise line.blame(error) from None
    machine.symbols = {**machine.symbols, **found.values}
    machine.equated = (machine.equated - set(found.values)) | set(found.equated)
