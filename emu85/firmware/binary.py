"""Raw binary: bytes and nothing else, so the address comes from outside."""

from __future__ import annotations

from emu85.errors import Place, UserError
from emu85.firmware.image import SPACE, Image, Segment
from emu85.wording import counted


def read_binary(data: bytes, at: int = 0, file: str = "") -> Image:
    """An image of ``data`` with its first byte at address ``at``.

    Raises:
        UserError: no bytes, an address outside 0000-FFFF, or bytes beyond FFFF.
    """
    place = Place(file)
    if not 0 <= at < SPACE:
        raise UserError(f"address {at:X} does not exist", place, expected="0000 to FFFF")
    if not data:
        raise UserError("holds no bytes", place, expected="at least one byte")
    room = SPACE - at
    if len(data) > room:
        raise UserError(
            f"{len(data)} bytes at {at:04X} run past FFFF",
            place,
            expected=f"at most {counted(room, 'byte')} there",
        )
    return Image((Segment(at, bytes(data)),), source=file)


def write_binary(image: Image, fill: int = 0xFF) -> bytes:
    """The bytes from the image's lowest to its highest address, gaps holding ``fill``.

    Raises:
        UserError: the image is empty.
    """
    if not image.segments:
        raise UserError("holds no bytes to write", Place(image.source))
    low, high = image.span
    return image.bytes_at(low, high - low + 1, fill)
