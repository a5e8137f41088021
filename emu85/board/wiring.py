"""Wires between device pins and lines: levels, inversion and wired OR."""

from __future__ import annotations

from collections.abc import Callable

from emu85.board.description import Driver, Pin, Wire
from emu85.bus.lines import Line

Tell = Callable[[Pin | Line, int], None]


class Wiring:
    """Carries every change of a driver to what it reaches.

    While power comes on, drivers find their levels in silence (:meth:`power`);
    then every sink is told once (:meth:`settle`), so that no sink sees an edge
    that is only an order of start-up.
    """

    def __init__(self, wires: tuple[Wire, ...], tell: Tell) -> None:
        """``tell(sink, level)`` is called when the level at a sink changes."""
        self._tell = tell
        self._wires = wires
        self._silent = True
        self._levels: dict[Pin | Line, int] = {}
        self._sinks: dict[Pin | Line, int] = {}
        self._reached: dict[Pin | Line, list[Wire]] = {}
        for wire in wires:
            for driver in wire.drivers:
                self._reached.setdefault(driver.source, []).append(wire)

    def power(self) -> None:
        """Take every driver for low and tell nobody until :meth:`settle`."""
        self._levels.clear()
        self._silent = True

    def settle(self) -> None:
        """Tell each sink the level that follows from its drivers."""
        self._silent = False
        for wire in self._wires:
            level = self._sinks[wire.sink] = self._level(wire)
            self._tell(wire.sink, level)

    def drive(self, source: Pin | Line, level: int) -> None:
        """A driver goes to a level; what it reaches is told if its own level changes."""
        if self._levels.get(source, 0) == level:
            return
        self._levels[source] = level
        if self._silent:
            return
        for wire in self._reached.get(source, ()):
            now = self._level(wire)
            if self._sinks.get(wire.sink, 0) != now:
                self._sinks[wire.sink] = now
                self._tell(wire.sink, now)

    def level(self, sink: Pin | Line) -> int:
        """The level at a sink now."""
        return self._sinks.get(sink, 0)

    def _level(self, wire: Wire) -> int:
        return int(any(self._driven(driver) for driver in wire.drivers))

    def _driven(self, driver: Driver) -> bool:
        return bool(self._levels.get(driver.source, 0)) != driver.inverted
