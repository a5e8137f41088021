"""Firmware: images in and out, the assembler, the disassembler.

Every reader is a function from text or bytes to a value; what it cannot take it
refuses with a :class:`~emu85.errors.UserError` that says where.
"""

from emu85.firmware.assembler import Assembly, AssemblyErrors, assemble
from emu85.firmware.binary import read_binary, write_binary
from emu85.firmware.disassembler import Line, disassemble, disassemble_range, write_source
from emu85.firmware.files import atomic_write
from emu85.firmware.hexfile import read_hex, write_hex
from emu85.firmware.image import Image, Segment, SourceLine
from emu85.firmware.listing import ListingRow, write_listing
from emu85.firmware.reader import read_image
from emu85.firmware.symbols import (
    Names,
    Symbol,
    SymbolKind,
    read_names,
    read_symbols,
    write_symbols,
)

__all__ = [
    "Assembly",
    "AssemblyErrors",
    "Image",
    "Line",
    "ListingRow",
    "Names",
    "Segment",
    "SourceLine",
    "Symbol",
    "SymbolKind",
    "assemble",
    "atomic_write",
    "disassemble",
    "disassemble_range",
    "read_binary",
    "read_hex",
    "read_image",
    "read_names",
    "read_symbols",
    "write_binary",
    "write_hex",
    "write_listing",
    "write_source",
    "write_symbols",
]
