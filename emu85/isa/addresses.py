"""Addresses of an instruction's machine cycles, counted from its registers as it begins.

SP and WZ move while the instruction goes on; the manual's machine cycle chart counts from
where they stood before, and so do we.
"""

from __future__ import annotations

from collections.abc import Sequence

from emu85.isa.terms import Addr, MachineCycle

STACK_NOTE = "SP, SP + 1, SP - 1 and the like count from SP as it is before this begins."
_MOVING = {
    Addr.SP: ("SP", 0, 0),
    Addr.SP_UP: ("SP", 0, 1),
    Addr.SP_DOWN: ("SP", -1, 0),
    Addr.WZ: ("WZ", 0, 0),
    Addr.WZ_UP: ("WZ", 0, 1),
}
"""The register, and by how much it moves before the cycle and after it."""


def counted_addresses(rows: Sequence[MachineCycle]) -> list[str]:
    """For each row ``"SP - 1"``, ``"WZ + 1"`` and so on; empty for other addresses."""
    offsets = {"SP": 0, "WZ": 0}
    found = []
    for row in rows:
        name, before, after = _MOVING.get(row.address, ("", 0, 0))
        if not name:
            found.append("")
            continue
        offsets[name] += before
        found.append(_text(name, offsets[name]))
        offsets[name] += after
    return found


def uses_stack(rows: Sequence[MachineCycle]) -> bool:
    """Whether any row has an address on the stack."""
    return any(_MOVING.get(row.address, ("",))[0] == "SP" for row in rows)


def _text(name: str, offset: int) -> str:
    if not offset:
        return name
    return f"{name} {'+' if offset > 0 else '-'} {abs(offset)}"
