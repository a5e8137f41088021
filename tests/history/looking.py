"""Looking for a machine cycle of the past, as tests ask for it."""

import numpy as np

from emu85.board.schedule import NEVER
from emu85.history.history import History
from emu85.machine import Machine


def back_to(history: History, *texts: str) -> np.void | None:
    """Go back to the last cycle that any of some stops looks for; its record."""
    stops = history.machine.stops
    added = [stops.add(text) for text in texts]
    was_found = history.back_to_stop(added)
    for stop in added:
        stops.drop(stop.number)
    return history.machine.trace[-1] if was_found else None


def last_write(history: History, address: int) -> np.void | None:
    """The record of the last write to an address."""
    write, change = history.last_change(address)
    if write is not None:
        return write
    return change if isinstance(change, np.void) else None


class Resting:
    """Counts the machine's rests."""

    count = 0

    def begin(self) -> None: ...

    def next_t(self) -> int:
        return NEVER

    def rest(self) -> None:
        self.count += 1

    def end(self) -> None: ...


def rests_of(machine: Machine) -> Resting:
    """What counts its rests from now on."""
    resting = Resting()
    machine.companions.append(resting)
    return resting
