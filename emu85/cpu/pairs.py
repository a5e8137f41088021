"""Register pairs in the state vector, by the cell of the high register."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu.kernel import Array, part


@part
def pair(s: Array, high: int) -> int:
    """A register pair by the cell of its high register."""
    return s[high] << 8 | s[high + 1]


@part
def put_pair(s: Array, high: int, value: int) -> None:
    s[high] = value >> 8
    s[high + 1] = value & 0xFF
