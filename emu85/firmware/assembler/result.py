"""What an assembly gives."""

from __future__ import annotations

from dataclasses import dataclass

from emu85.firmware.image import Image
from emu85.firmware.listing import ListingRow
from emu85.firmware.symbols import Symbol


@dataclass(frozen=True, slots=True)
class Assembly:
    """A finished assembly.

    Attributes:
        image: bytes, symbols and the source line of each address.
        listing: the text of the listing.
        rows: the listing's lines as data, in order of assembly.
        symbols: every name with its kind and place, in order of definition.
    """

    image: Image
    listing: str
    rows: tuple[ListingRow, ...]
    symbols: tuple[Symbol, ...]
