"""What a board noticed beside its bus cycles, in words."""

from __future__ import annotations

import textwrap

from emu85.board.serial_faults import BITS_OFF
from emu85.bus.findings import BoardFinding, Finding
from emu85.machine import Machine


def when(one: Finding | BoardFinding) -> str:
    """How often and at which T-states."""
    if one.times == 1:
        return f"once, T {one.first_t}"
    return f"{one.times} times, T {one.first_t} to {one.last_t}"


def noticed(one: BoardFinding, machine: Machine, width: int) -> list[str]:
    """A finding in full, its measured figures too, as it stands now."""
    lines = [f"{one.description}, {one.where}: {when(one)}"]
    end = machine.board.serial_ends.get(one.where)
    notice = end.baud_check.notice if end and one.description == BITS_OFF else None
    if notice:
        lines += textwrap.wrap(str(notice), width, initial_indent="    ", subsequent_indent="    ")
    return lines


class News:
    """Tells each such finding once, the first time it is there."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._told: set[tuple[str, str]] = set()

    def begin_again(self) -> None:
        """Whatever there will be is new, as after power-on."""
        self._told.clear()

    def lines(self, width: int) -> list[str]:
        """Those not told before."""
        found = {one[:2]: one for one in self._machine.findings.noted}
        new = [one for key, one in found.items() if key not in self._told]
        self._told = set(found)
        return [
            line
            for one in new
            for line in textwrap.wrap(
                f"Finding at T-state {one.first_t}: {one.description}, {one.where}. "
                "'findings' counts them.",
                width,
                subsequent_indent="  ",
            )
        ]
