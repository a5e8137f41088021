"""Executions, reads and writes by address, over a batch of records."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from emu85.cpu.kernel import Array
from emu85.profile.counting import layout as c


def tally(
    cells: Array,
    s: Array,
    fetches: Array,
    opcodes: NDArray[np.int16],
    t_states: Array,
    reads: Array,
    writes: Array,
    port_reads: Array,
    port_writes: Array,
) -> int:
    """Count a batch; cycles of another bus master are left out.

    Args:
        cells: int64, two a record as in the ring of the trace.
        s: int64, 3 cells of state.
        fetches, t_states, reads, writes: int64, 65 536.
        opcodes: int16, 65 536.
        port_reads, port_writes: int64, 256.
    """
    for i in range(0, cells.shape[0], 2):
        record = cells[i + 1]
        lines = record >> c.LINES_AT
        if lines & c.GIVEN_AWAY != 0:
            continue
        kind = (record >> c.TYPE_AT) & c.TYPE_MASK
        address = record & 0xFFFF
        place = c.SPACE
        if kind == c.OF:
            place = address
            fetches[address] += 1
            opcodes[address] = (record >> c.DATA_AT) & 0xFF
        elif kind == c.MR:
            reads[address] += 1
        elif kind == c.MW:
            writes[address] += 1
        elif kind == c.IOR:
            port_reads[address & 0xFF] += 1
        elif kind == c.IOW:
            port_writes[address & 0xFF] += 1
        elif (
            kind == c.INA
            or kind == c.RESET
            or (kind == c.BI and lines & c.ACKNOWLEDGES == c.ACKNOWLEDGES)
        ):
            place = c.AN_ACKNOWLEDGE
        if place != c.SPACE:
            t = cells[i]
            if s[c.OPEN_AT] >= 0:
                t_states[s[c.OPEN_AT] & 0xFFFF] += t - s[c.OPEN_T]
            elif s[c.OPEN_AT] == c.AN_ACKNOWLEDGE:
                s[c.ACKNOWLEDGE_T] += t - s[c.OPEN_T]
            s[c.OPEN_T] = t
            s[c.OPEN_AT] = place
    return 0


_VECTOR_OF = numba.int64[::1]
SIGNATURE = numba.int64(
    *(_VECTOR_OF,) * 3,
    numba.int16[::1],
    *(_VECTOR_OF,) * 5,
)
"""Types of the arguments."""
