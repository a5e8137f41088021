"""Where the routines begin that acknowledged INTRs have led to in a run."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle

_BEFORE = (Cycle.MW, Cycle.MW, Cycle.INA)
"""The cycles before the first fetch of such a routine, the newest first: an RST or a CALL
that was jammed has pushed the return address."""


class Served:
    """Notes them; fed with all records in order.

    Attributes:
        addresses: of the routines.
    """

    def __init__(self) -> None:
        self.addresses: set[int] = set()
        self._late: NDArray[np.void] | None = None

    def feed(self, records: NDArray[np.void]) -> None:
        """Take a batch: dtype ``bus.trace.RECORD``, right after the last."""
        late = self._late
        joined = records if late is None else np.concatenate((late, records))
        count = len(_BEFORE)
        kinds = joined["type"]
        is_first = kinds[count:] == Cycle.OF
        for back, kind in enumerate(_BEFORE, 1):
            is_first &= kinds[count - back : len(kinds) - back] == kind
        self.addresses.update(joined["address"][count:][is_first].tolist())
        self._late = joined[-count:].copy()
