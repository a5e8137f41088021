"""Firmware from a file, its format told by the suffix."""

from __future__ import annotations

from pathlib import Path

from emu85.errors import Place, UserError, nearest
from emu85.firmware.assembler import assemble
from emu85.firmware.binary import read_binary
from emu85.firmware.files import read_bytes, read_text
from emu85.firmware.hexfile import read_hex
from emu85.firmware.image import Image

HEX_SUFFIXES = (".hex", ".ihx")
BINARY_SUFFIXES = (".bin", ".rom")
SOURCE_SUFFIXES = (".asm", ".a85", ".src")
SUFFIXES = (*HEX_SUFFIXES, *BINARY_SUFFIXES, *SOURCE_SUFFIXES)


def read_image(path: str | Path, *, at: int | None = None) -> Image:
    """The image in an Intel HEX file, a raw binary or an assembly source.

    Args:
        path: ends with .hex or .ihx, .bin or .rom, .asm, .a85 or .src.
        at: address of a binary's first byte, 0000 if not given; the other
            formats state their addresses themselves and refuse one.

    Raises:
        UserError: the file cannot be read, has another suffix, or what its
            format's reader finds wrong with it.
    """
    path = Path(path)
    file = str(path)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise UserError(
            f"the suffix {path.suffix!r} tells no firmware format",
            Place(file),
            expected=", ".join(SUFFIXES),
            nearest=nearest(suffix, SUFFIXES),
        )
    if suffix in BINARY_SUFFIXES:
        return read_binary(read_bytes(path), at or 0, file)
    if at is not None:
        raise UserError(
            f"{suffix} states its own addresses", Place(file), expected="no address to load at"
        )
    text = read_text(path)
    return read_hex(text, file) if suffix in HEX_SUFFIXES else assemble(text, file).image
