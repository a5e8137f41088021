"""Wires between device pins and lines: levels, inversion and wired OR."""

from __future__ import annotations

from collections.abc import Callable

from emu85.board.description import Driver, Pin, Wire
from emu85.bus.lines import Line

DEEPEST = 50
"""Changes that may follow from one another at one moment."""

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
        self._depth = 0
        self._levels: dict[Pin | Line, int] = {}
        self._sinks: dict[Pin | Line, int] = {}
        self._reached: dict[Pin | Line, list[Wire]] = {}
        for wire in wires:
            for driver in wire.drivers:
                self._reached.setdefault(driver.source, []).append(wire)

    def power(self) -> None:
        """Take every driver for low and tell nobody until :meth:`settle`."""
        self._levels.clear()
        self._sinks.clear()
        self._silent = True

    def settle(self) -> None:
        """Tell each sink the level that follows from its drivers."""
        self._silent = False
        for wire in self._wires:
            level = self._sinks[wire.sink] = self._level(wire)
            self._tell(wire.sink, level)

    def drive(self, source: Pin | Line, level: int) -> None:
        """A driver goes to a level; what it reaches is told if its own level changes.

        Raises:
            UserError: devices drive one another round and round without end.
        """
        if self._levels.get(source, 0) == level:
            return
        self._levels[source] = level
        if self._silent:
            return
        self._depth += 1
        try:
            for wire in self._reached.get(source, ()):
                self._update(wire)
        finally:
            self._depth -= 1

    def _update(self, wire: Wire) -> None:
        now = self._level(wire)
        if self._sinks.get(wire.sink, 0) == now:
            return
        if self._depth > DEEPEST:
            raise wire.node.wrong("this wire closes a loop that never comes to rest")
        self._sinks[wire.sink] = now
        self._tell(wire.sink, now)

    def _level(self, wire: Wire) -> int:
        return int(any(self._driven(driver) for driver in wire.drivers))

    def _driven(self, driver: Driver) -> bool:
        return bool(self._levels.get(driver.source, 0)) != driver.inverted
