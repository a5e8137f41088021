"""Findings: what a board noticed that real hardware would punish.

They are counted and placed, and never stop the machine by themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

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

    @property
    def text(self) -> str:
        """What and where: ``write to ROM at 0012``, ``... at port 21``."""
        at = f"port {self.address:02X}" if self.is_port else f"{self.address:04X}"
        return f"{self.description} at {at}"


class BoardFinding(NamedTuple):
    """One thing noticed beside the bus cycles, on a wire or a serial line.

    Attributes:
        description: what happened, in words.
        where: what it happened to, as the board file names it.
        times: how often.
        first_t, last_t: when it was noticed, in T-states.
    """

    description: str
    where: str
    times: int
    first_t: int
    last_t: int

    @property
    def text(self) -> str:
        """What and where."""
        return f"{self.description}, {self.where}"


class KeptFindings(NamedTuple):
    """Findings as they were: rows of the table, what stood in them, and the board's."""

    rows: NDArray[np.intp]
    cells: NDArray[np.int64]
    noted: dict[tuple[str, str], BoardFinding]


class Findings:
    """All findings since power-on or since they were cleared, in order of first sight.

    Iteration gives those of bus cycles; those of the board are in ``noted``.

    Attributes:
        table: int64, shape (kinds * SPACE, 4), filled by the compiled loop.
    """

    def __init__(self) -> None:
        self.table = np.zeros((len(FindingKind) * SPACE, len(FindingField)), np.int64)
        self._noted: dict[tuple[str, str], BoardFinding] = {}

    def __iter__(self) -> Iterator[Finding]:
        rows = np.flatnonzero(self.table[:, FindingField.COUNT])
        found = [self._finding(int(row)) for row in rows]
        return iter(sorted(found, key=lambda f: (f.first_t, f.kind)))

    def __len__(self) -> int:
        return int(np.count_nonzero(self.table[:, FindingField.COUNT])) + len(self._noted)

    @property
    def noted(self) -> list[BoardFinding]:
        """What was noticed beside the bus cycles, in order of first sight."""
        return list(self._noted.values())

    def note(self, description: str, where: str, t: int) -> None:
        """Count something noticed at T-state ``t`` beside the bus cycles."""
        key = (description, where)
        known = self._noted.get(key)
        self._noted[key] = (
            known._replace(times=known.times + 1, last_t=t)
            if known
            else BoardFinding(description, where, 1, t, t)
        )

    def clear(self) -> None:
        """Forget them all."""
        self.table[self.table[:, FindingField.COUNT] != 0] = 0
        self._noted.clear()

    def kept(self) -> KeptFindings:
        """All of them, to be put back later."""
        rows = np.flatnonzero(self.table[:, FindingField.COUNT])
        return KeptFindings(rows, self.table[rows], dict(self._noted))

    def put_back(self, kept: KeptFindings) -> None:
        """Make them what they were when they were kept."""
        self.clear()
        self.table[kept.rows] = kept.cells
        self._noted.update(kept.noted)

    def _finding(self, row: int) -> Finding:
        kind, index = divmod(row, SPACE)
        times, first_t, last_t, pc = (int(v) for v in self.table[row])
        is_port = index >= IO_BASE
        address = index - IO_BASE if is_port else index
        return Finding(FindingKind(kind), is_port, address, times, first_t, last_t, pc)
