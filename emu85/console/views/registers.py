"""The CPU's registers, flags and interrupt state."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.console.views.bus import nibbles
from emu85.console.views.code import instruction_at
from emu85.machine import Machine

FLAGS = ("s", "z", "k", "ac", "p", "v", "cy")
"""Flag names as the machine's registers have them, bit 7 first."""


def registers(machine: Machine) -> Iterator[str]:
    """Four lines; the byte registers in hexadecimal, A and the flags in binary as well."""
    r = machine.registers
    flags = "  ".join(f"{name.upper()} {int(getattr(r, name))}" for name in FLAGS)
    yield f"  A {r.a:02X}  {nibbles(r.a, 8)}    F {r.f:02X}  {flags}"
    pairs = f"BC {r.bc:04X}  DE {r.de:04X}  HL {r.hl:04X}  SP {r.sp:04X}  PC {r.pc:04X}"
    masks = " ".join(name for bit, name in _MASKS if r.masks & bit) or "none"
    yield f"  {pairs}"
    yield f"  interrupts {'enabled' if r.ie else 'disabled'}; masked: {masks}"
    yield f"  {'next' if r.boundary else 'in'}  {_instruction(machine)}"


def _instruction(machine: Machine) -> str:
    at = machine.registers.pc if machine.registers.boundary else machine.registers.instruction_at
    return f"{at:04X}  {instruction_at(machine, at)}"


_MASKS = ((1, "5.5"), (2, "6.5"), (4, "7.5"))


def brief(machine: Machine) -> str:
    """All registers in one line of at most 80 columns."""
    r = machine.registers
    flags = " ".join(name.upper() for name in FLAGS if getattr(r, name)) or "-"
    return (
        f"A {r.a:02X}  BC {r.bc:04X}  DE {r.de:04X}  HL {r.hl:04X}  "
        f"SP {r.sp:04X}  PC {r.pc:04X}  flags {flags}"
    )
