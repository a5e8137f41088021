"""Findings: what a board noticed that real hardware would punish.

They are counted and placed, and never stop the machine by themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from emu85.cpu.layout import IO_BASE, SPACE, FindingField, FindingKind

DESCRIPTIONS: dict[FindingKind, str] = {
    FindingKind.FLOATING_READ: "read where no chip answers",
    FindingKind.CONTENTION: "two chips answered at once",
    FindingKind.ROM_WRITE: "write to ROM",
    FindingKind.LOST_WRITE: "write where no chip listens",
    FindingKind.UNWRITTEN_READ: "read of RAM never written",
    FindingKind.NOT_CODE: "execution outside code",
    FindingKind.STACK: "stack outside its region",
}


class Finding(NamedTuple):
    """One kind of finding at one address or port.

    Attributes:
        address: memory address 0000-FFFF, or port 00-FF if ``is_port``.
        times: how often.
        first_t, last_t: start T-state of the first and the last such cycle.
        pc: address of the instruction that gave rise to the first.
    """

    kind: FindingKind
    is_port: bool
    address: int
    times: int
    first_t: int
    last_t: int
    pc: int

    @property
    def description(self) -> str:
        """What happened, in words."""
        return DESCRIPTIONS[self.kind]


class Findings:
    """All findings since power-on or since they were cleared, in order of first sight.

    Attributes:
        table: int64, shape (kinds * SPACE, 4), filled by the compiled loop.
    """

    def __init__(self) -> None:
        self.table = np.zeros((len(FindingKind) * SPACE, len(FindingField)), np.int64)

    def __iter__(self) -> Iterator[Finding]:
        rows = np.flatnonzero(self.table[:, FindingField.COUNT])
        found = [self._finding(int(row)) for row in rows]
        return iter(sorted(found, key=lambda f: (f.first_t, f.kind)))

    def __len__(self) -> int:
        return int(np.count_nonzero(self.table[:, FindingField.COUNT]))

    def clear(self) -> None:
        """Forget them all."""
        self.table[self.table[:, FindingField.COUNT] != 0] = 0

    def _finding(self, row: int) -> Finding:
        kind, index = divmod(row, SPACE)
        times, first_t, last_t, pc = (int(v) for v in self.table[row])
        is_port = index >= IO_BASE
        address = index - IO_BASE if is_port else index
        return Finding(FindingKind(kind), is_port, address, times, first_t, last_t, pc)
