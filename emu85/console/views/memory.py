"""Memory in hexadecimal and as characters."""

from __future__ import annotations

from collections.abc import Callable, Iterator

_PER_LINE = 16


def dump(read: Callable[[int], int], low: int, high: int) -> Iterator[str]:
    """Bytes ``low`` to ``high``, sixteen a line, lines beginning at multiples of 16."""
    for line in range(low & ~0xF, high + 1, _PER_LINE):
        cells, text = [], ""
        for address in range(line, line + _PER_LINE):
            if not low <= address <= high:
                cells.append("  ")
                text += " "
                continue
            byte = read(address)
            cells.append(f"{byte:02X}")
            text += chr(byte) if 0x20 <= byte < 0x7F else "."
        halves = f"{' '.join(cells[:8])}  {' '.join(cells[8:])}"
        yield f"  {line:04X}  {halves}  {text}".rstrip()
