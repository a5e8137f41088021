"""Files"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console import saved
from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.errors import UserError
from emu85.firmware import (
    Image,
    Segment,
    atomic_write,
    read_names,
    write_binary,
    write_hex,
)
from emu85.firmware.files import read_text
from emu85.firmware.image import joined
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.machine import Machine


@form("load FILE [at ADDRESS]", "firmware, symbols or a session, by the suffix")
def load(session: Session, file: Path, address: int | None = None) -> None:
    """.hex and .bin are images, .asm is assembled first, .sym holds symbols, .json is a
    session that 'save' wrote. A .bin goes to the address given with 'at'."""
    if file.suffix.casefold() == ".json":
        session.screen.show(saved.restore(session, file, read_text(file)))
        return
    if file.suffix.casefold() == ".sym":
        _load_symbols(session, file)
        return
    machine = session.machine
    before = (machine.symbols, machine.equated, machine.runs)
    image = machine.load(file, at=address)
    machine.runs = joined((*before[2], *image.runs))
    machine.symbols, machine.equated = before[0], before[1]
    _add_names(machine, image.symbols, image.equated)
    for segment in image.segments:
        last = segment.start + len(segment.data) - 1
        session.screen.show(
            f"{file.name}: {counted(len(segment.data), 'byte')} at {segment.start:04X}-{last:04X}"
        )
    if image.symbols:
        session.screen.show(f"{file.name}: {counted(len(image.symbols), 'symbol')}")


def _load_symbols(session: Session, file: Path) -> None:
    found = read_names(read_text(file), str(file))
    _add_names(session.machine, found.values, found.equated)
    session.screen.show(f"{file.name}: {counted(len(found.values), 'symbol')}")


def _add_names(machine: Machine, values: Mapping[str, int], equated: Collection[str]) -> None:
    """Put names beside those that the machine has; of equal ones the new count."""
    machine.symbols = {**machine.symbols, **values}
    machine.equated = (machine.equated - set(values)) | set(equated)


@form("save FILE [RANGE]", ".hex or .bin of memory, or .json of the session")
def save(session: Session, file: Path, range: tuple[int, int] | None = None) -> None:
    """save dump.hex 8000-80FF     save dump.bin 8000-80FF     save session.json
    A file that is there is replaced as a whole or not at all. A session holds your
    stops, symbols and speed, and the board's moment with all of its past since power-on:
    'load' brings all of it back, and 'back' goes on from there. RAM on a battery that
    has a file is saved too."""
    suffix = file.suffix.casefold()
    if suffix == ".json":
        if range is not None:
            with unfit("range"):
                raise UserError("a session has no address range", expected="save FILE.json alone")
        _save_session(session, file)
        return
    if suffix not in (".hex", ".bin"):
        with unfit("file"):
            raise UserError(
                f"{file.name!r} does not say what to save",
                expected="a name that ends in .hex, .bin or .json",
            )
    if range is None:
        raise UserError("no memory to save is named", expected="a range such as 8000-80FF")
    _save_memory(session, file, suffix, *range)


def _save_session(session: Session, file: Path) -> None:
    saved.save(session, file)
    session.machine.board.save_batteries()
    session.screen.show(
        f"{file.name}: {counted(len(session.machine.stops), 'stop')}, "
        f"{counted(len(session.machine.symbols), 'symbol')}"
    )
    if session.history.in_past:
        session.screen.show("It ends at this moment; what is still to come from here is not in it.")


def _save_memory(session: Session, file: Path, suffix: str, low: int, high: int) -> None:
    memory = session.machine.memory
    data = bytes(memory[address] for address in range(low, high + 1))
    image = Image((Segment(low, data),), source=str(file))
    atomic_write(file, write_hex(image) if suffix == ".hex" else write_binary(image))
    session.screen.show(f"{file.name}: {counted(len(data), 'byte')}, {low:04X}-{high:04X}")
