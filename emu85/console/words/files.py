"""Files"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console import saved
from emu85.console.registry import form
from emu85.errors import UserError
from emu85.firmware import (
    Image,
    Segment,
    atomic_write,
    read_symbols,
    write_binary,
    write_hex,
)
from emu85.firmware.files import read_text

if TYPE_CHECKING:
    from emu85.console.session import Session


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
    symbols = dict(session.machine.symbols)
    image = session.machine.load(file, at=address)
    session.machine.symbols = {**symbols, **image.symbols}
    for segment in image.segments:
        last = segment.start + len(segment.data) - 1
        session.screen.show(
            f"{file.name}: {len(segment.data)} bytes at {segment.start:04X}-{last:04X}"
        )
    if image.symbols:
        session.screen.show(f"{file.name}: {len(image.symbols)} symbols")


def _load_symbols(session: Session, file: Path) -> None:
    found = read_symbols(read_text(file), str(file))
    session.machine.symbols.update(found)
    session.screen.show(f"{file.name}: {len(found)} symbols")


@form("save FILE [RANGE]", ".hex or .bin of memory, or .json of the session")
def save(session: Session, file: Path, range: tuple[int, int] | None = None) -> None:
    """save dump.hex 8000-80FF     save dump.bin 8000-80FF     save session.json
    A file that is there is replaced as a whole or not at all."""
    suffix = file.suffix.casefold()
    if suffix == ".json":
        if range is not None:
            raise UserError("a session has no address range", expected="save FILE.json alone")
        saved.save(session, file)
        session.screen.show(
            f"{file.name}: {len(list(session.machine.stops))} stops, "
            f"{len(session.machine.symbols)} symbols"
        )
        return
    if suffix not in (".hex", ".bin"):
        raise UserError(
            f"{file.name!r} does not say what to save",
            expected="a name that ends in .hex, .bin or .json",
        )
    if range is None:
        raise UserError("which memory is to be saved?", expected="a range such as 8000-80FF")
    _save_memory(session, file, suffix, *range)


def _save_memory(session: Session, file: Path, suffix: str, low: int, high: int) -> None:
    memory = session.machine.memory
    data = bytes(memory[address] for address in range(low, high + 1))
    image = Image((Segment(low, data),), source=str(file))
    atomic_write(file, write_hex(image) if suffix == ".hex" else write_binary(image))
    session.screen.show(f"{file.name}: {len(data)} bytes, {low:04X}-{high:04X}")
