"""What stands on the address bus in cycles other than opcode fetches."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.pairs import pair, put_pair


@part
def address_of(s: Array, at: int, pc: int) -> int:
    """The address of a cycle that is not an opcode fetch; steps SP and WZ as it is due."""
    if at == c.AT_HL:
        return s[c.H] << 8 | s[c.L]
    if at == c.AT_SP_DOWN:
        s[c.SP] = (s[c.SP] - 1) & 0xFFFF
        return s[c.SP]
    if at == c.AT_SP_UP:
        address = s[c.SP]
        s[c.SP] = (address + 1) & 0xFFFF
        return address
    if at == c.AT_WZ:
        return s[c.W] << 8 | s[c.Z]
    if at == c.AT_BC:
        return s[c.B] << 8 | s[c.C]
    if at == c.AT_DE:
        return s[c.D] << 8 | s[c.E]
    if at == c.AT_WZ_UP:
        address = s[c.W] << 8 | s[c.Z]
        put_pair(s, c.W, (address + 1) & 0xFFFF)
        return address
    if at == c.AT_SP:
        return s[c.SP]
    if at == c.AT_PC_HELD:
        return pc
    return s[c.Z] << 8 | s[c.Z]


@part
def step_back(s: Array, at: int) -> None:
    """Undo what :func:`address_of` did for a read that must wait for a device's answer."""
    if at == c.AT_SP_UP:
        s[c.SP] = (s[c.SP] - 1) & 0xFFFF
    if at == c.AT_WZ_UP:
        put_pair(s, c.W, (pair(s, c.W) - 1) & 0xFFFF)
