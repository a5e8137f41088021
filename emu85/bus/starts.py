"""Which machine cycles begin something: an instruction, or the acceptance of an interrupt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.expand import acknowledging
from emu85.bus.lines import Line
from emu85.bus.trace import Columns


def is_start(records: NDArray[np.void] | Columns) -> NDArray[np.bool_]:
    """Whether each record starts something: an opcode fetch or an acknowledge.

    Of the INTA cycles of one acknowledge each counts.  A reset ends what it breaks into
    and is charged like an acknowledge.
    """
    kinds = records["type"]
    begin = (kinds == Cycle.OF) | (kinds == Cycle.INA) | (kinds == Cycle.RESET)
    found: NDArray[np.bool_] = begin | acknowledging(kinds, records["lines"])
    return found


def first_cycles(records: NDArray[np.void] | Columns) -> NDArray[np.intp]:
    """Indices of the cycles that begin an instruction or the acceptance of an interrupt.

    Of the INTA cycles of one acknowledge only the first, even if a hold came between
    them; a reset is none.
    """
    of_the_cpu = np.flatnonzero(records["lines"] & int(Line.HLDA) == 0)
    kinds = records["type"][of_the_cpu]
    starts = is_start(records)[of_the_cpu] & (kinds != Cycle.RESET)
    starts[1:] &= (kinds[1:] != Cycle.INA) | (kinds[:-1] != Cycle.INA)
    found: NDArray[np.intp] = of_the_cpu[starts]
    return found
