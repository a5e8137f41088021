"""The board as one device sees it, and the machine as a board in none sees it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import partial

import numpy as np
from numpy.typing import NDArray

from emu85.board.description import Pin
from emu85.board.frames import Frame
from emu85.board.host import Host, Reached, StopListener
from emu85.board.schedule import Schedule
from emu85.board.wiring import Wiring
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.stops import StopSet


class Unplugged:
    """The host of a board that is in no machine: time stands still."""

    def __init__(self) -> None:
        self.schedule = Schedule()
        self.stops = StopSet()
        self.stop_listeners: list[StopListener] = []

    def drive(self, line: Line, level: int) -> None:
        """No CPU is there to see it."""

    def reached(self, kind: Cycle, address: int) -> Reached:
        """Nothing is there."""
        return Reached(0, answers=False)

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        """No bus is there to carry it."""
        return 0xFF

    def note(self, description: str, where: str) -> None:
        """Nobody asks for findings."""

    def ask_hold(self) -> None:
        """Nothing runs."""

    def ask_pace(self, steps: int) -> None:
        """Nothing runs."""

    def ask_full_speed(self) -> None:
        """Nothing runs."""


class Socket:
    """Where the board's host is plugged in."""

    def __init__(self) -> None:
        self.host: Host = Unplugged()


class DeviceSite:
    """What a device works with (:class:`emu85.board.device.Site`)."""

    NOT_STATE = frozenset(
        {
            "_device",
            "_outputs",
            "_pull_ups",
            "_socket",
            "_store",
            "_watch",
            "_wiring",
            "base",
            "clock",
        }
    )

    def __init__(
        self, device: str, socket: Socket, clock: Fraction, pull_ups: int, wiring: Wiring
    ) -> None:
        """``device`` is its name on the wires; ``clock`` in hertz."""
        self.clock = clock
        self.base = 0
        self._device = device
        self._socket = socket
        self._pull_ups = pull_ups
        self._wiring = wiring
        self._outputs = wiring.outputs_of(device)
        self._store: NDArray[np.uint16] = np.empty(0, dtype=np.uint16)
        self._shown: list[int] = []
        self._watched: set[int] = set()
        self._watch: Callable[[int, bool], None] = lambda register, on: None

    def place(self, store: NDArray[np.uint16], base: int, registers: int) -> None:
        """Give the device's registers their entries of the store, from ``base`` on."""
        self._store = store
        self.base = base
        self._shown = [self._pull_ups] * registers
        self.clear()

    def watch_with(self, watch: Callable[[int, bool], None]) -> None:
        """``watch(register, on)`` has reads of a watched register told or not."""
        self._watch = watch

    @property
    def schedule(self) -> Schedule:
        """The host's schedule."""
        return self._socket.host.schedule

    def publish(self, register: int, value: int) -> None:
        """Let reads of a published register find ``value`` from now on."""
        value &= 0xFF
        if self._shown[register] != value:
            self._shown[register] = value
            self.restore(register)

    def kept(self, register: int) -> int:
        """The byte written last to a kept register."""
        return int(self._store[self.base + register]) & 0xFF

    def keep(self, register: int, value: int) -> None:
        """Put a byte into a kept register."""
        self._store[self.base + register] = value & 0xFF

    def watch_reads(self, register: int, on: bool) -> None:
        """Have the device told of reads of a watched register, or no longer."""
        if on == (register in self._watched):
            return
        if on:
            self._watched.add(register)
            self._watch(register, True)
            return
        self._watched.remove(register)
        # Not before a read that is under way has been answered.
        self.schedule.at(self.schedule.now, partial(self._unwatch, register))

    def _unwatch(self, register: int) -> None:
        if register not in self._watched:
            self._watch(register, False)

    def drive(self, pin: str, level: int) -> None:
        """Put an output pin at a level."""
        output = self._outputs.get(pin)
        if output:
            self._wiring.drive(output, level)

    def release(self, pin: str) -> None:
        """Let an output pin go."""
        output = self._outputs.get(pin)
        if output:
            self._wiring.drive(output, None)

    def is_wired(self, pin: str) -> bool:
        """Whether a wire begins or ends at a pin."""
        return self._wiring.is_wired(Pin(self._device, pin))

    def drive_clock(
        self,
        pin: str,
        period: Fraction | None,
        start_t: Fraction | int,
        high: Fraction | None = None,
    ) -> None:
        """Put a square wave on an output pin, or stop it."""
        output = self._outputs.get(pin)
        if output:
            self._wiring.drive_clock(output, period, start_t, high)

    def send_frame(self, pin: str, frame: Frame) -> None:
        """Begin to send a character."""
        output = self._outputs.get(pin)
        if output:
            self._wiring.send_frame(output, frame)

    def reached(self, kind: Cycle, address: int) -> Reached:
        """What a bus cycle at an address, or a port, finds."""
        return self._socket.host.reached(kind, address)

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None = None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        """One bus cycle as the bus master."""
        return self._socket.host.transfer(kind, address, data, noted=noted, waits=waits)

    def note(self, description: str, where: str) -> None:
        """Count a finding that is no bus cycle's."""
        self._socket.host.note(description, where)

    @property
    def stops(self) -> StopSet:
        """The machine's stops."""
        return self._socket.host.stops

    @property
    def stop_listeners(self) -> list[StopListener]:
        """Called with every stop that hits."""
        return self._socket.host.stop_listeners

    def hold(self) -> None:
        """Have the machine hold soon."""
        self._socket.host.ask_hold()

    def pace(self, steps: int) -> None:
        """Have the machine paced by so many machine cycles a second."""
        self._socket.host.ask_pace(steps)

    def full_speed(self) -> None:
        """End the pace."""
        self._socket.host.ask_full_speed()

    def shown(self, register: int) -> int:
        """What a read of a register finds: published, or the floating bus."""
        return self._shown[register]

    def restore(self, register: int) -> None:
        """Undo what the core's own write left in the register's store entry."""
        self._store[self.base + register] = self._shown[register]

    def clear(self) -> None:
        """Forget what was published."""
        for register in self._watched:
            self._watch(register, False)
        self._watched.clear()
        for register in range(len(self._shown)):
            self._shown[register] = self._pull_ups
            self.restore(register)
