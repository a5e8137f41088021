"""The listing: what stands where, and which line put it there.

The layout is our own.  Columns: address (or ``=`` and the value of an equated
name), up to four bytes, ``+`` for a line made by a macro or repetition or ``-``
for one that a false IF left out, line number, source.  Further bytes follow on
lines of their own.  The symbols close it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from emu85.firmware.image import SourceLine
from emu85.firmware.symbols import Symbol

_BYTES_A_LINE = 4
_HEADING = "addr  bytes           line  source"


@dataclass(frozen=True, slots=True)
class ListingRow:
    """One source line as assembled.

    Attributes:
        address: of its first byte or of its label, or None.
        value: of the name it equates, or None.
        expanded: it came out of a macro or repetition.
        skipped: a false IF left it out.
    """

    source: SourceLine
    address: int | None = None
    data: bytes = b""
    value: int | None = None
    expanded: bool = False
    skipped: bool = False


def write_listing(title: str, rows: Iterable[ListingRow], symbols: Iterable[Symbol]) -> str:
    """The text of a listing.

    Args:
        title: the assembled file; lines of other files are headed by their name.
        rows: in order of assembly.
        symbols: in any order.
    """
    lines = [f"Listing of {title}", "", _HEADING]
    file = title
    for row in rows:
        if row.source.file != file:
            file = row.source.file
            lines.append(f"{' ' * 28}[{file}]")
        lines.extend(row_lines(row))
    lines += ["", "Symbols", ""]
    lines.extend(_symbol(s) for s in sorted(symbols, key=lambda s: s.name.upper()))
    return "\n".join(lines) + "\n"


def row_lines(row: ListingRow) -> Iterator[str]:
    """A row as it stands in a listing."""
    place = "" if row.address is None else f"{row.address:04X}"
    if row.value is not None:
        place = f"={row.value:04X}"
    mark = "-" if row.skipped else "+" if row.expanded else " "
    shown = row.data[:_BYTES_A_LINE].hex(" ").upper()
    yield f"{place:5} {shown:11}  {mark} {row.source.line:5}  {row.source.text}".rstrip()
    for start in range(_BYTES_A_LINE, len(row.data), _BYTES_A_LINE):
        address = (row.address or 0) + start
        yield f"{address:04X}  {row.data[start : start + _BYTES_A_LINE].hex(' ').upper()}"


def _symbol(symbol: Symbol) -> str:
    return f"{symbol.value:04X}  {symbol.kind.value:5}  {symbol.name:24} {symbol.place}".rstrip()
