"""The board as one device sees it, and the machine as a board in none sees it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from emu85.board.host import Host
from emu85.board.schedule import Schedule
from emu85.bus.lines import Line


class Unplugged:
    """The host of a board that is in no machine: time stands still."""

    def __init__(self) -> None:
        self.schedule = Schedule()

    def drive(self, line: Line, level: int) -> None:
        """No CPU is there to see it."""


class Socket:
    """Where the board's host is plugged in."""

    def __init__(self) -> None:
        self.host: Host = Unplugged()


class DeviceSite:
    """What a device works with (:class:`emu85.board.device.Site`)."""

    def __init__(
        self,
        socket: Socket,
        clock: Fraction,
        pull_ups: int,
        drive: Callable[[str, int], None],
    ) -> None:
        """``clock`` in hertz; ``drive(pin, level)`` reaches the wires."""
        self.clock = clock
        self.base = 0
        self._socket = socket
        self._pull_ups = pull_ups
        self._drive = drive
        self._store: NDArray[np.uint16] = np.empty(0, dtype=np.uint16)
        self._shown: list[int] = []

    def place(self, store: NDArray[np.uint16], base: int, registers: int) -> None:
        """Give the device's registers their entries of the store, from ``base`` on."""
        self._store = store
        self.base = base
        self._shown = [self._pull_ups] * registers
        self.clear()

    @property
    def schedule(self) -> Schedule:
        """The host's schedule."""
        return self._socket.host.schedule

    def publish(self, register: int, value: int) -> None:
        """Let reads of a published register find ``value`` from now on."""
        self._shown[register] = value & 0xFF
        self.restore(register)

    def drive(self, pin: str, level: int) -> None:
        """Put an output pin at a level."""
        self._drive(pin, level)

    def shown(self, register: int) -> int:
        """What a read of a register finds: published, or the floating bus."""
        return self._shown[register]

    def restore(self, register: int) -> None:
        """Undo what the core's own write left in the register's store entry."""
        self._store[self.base + register] = self._shown[register]

    def clear(self) -> None:
        """Forget what was published."""
        for register in range(len(self._shown)):
            self.publish(register, self._pull_ups)
