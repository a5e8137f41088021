"""Wires between device pins and lines: levels, gates, clocks and characters.

A wire is what one entry of ``lines:`` says: one sink and what drives it.  Three
things travel on it:

* levels, told to the sink when they change;
* a clock: a square wave that is told once, with its period, to a sink that can
  reckon with it (a timer's clock input), and reaches every other sink as real
  edges, one event each;
* frames: characters of an asynchronous line, told once to a sink that takes
  them (a receiver), and reaching every other sink as real edges.

A driver may let its pin go (``None``); a sink that nobody drives sees 1, by its
pull-up (common practice, no published source).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Protocol

from emu85.board.description import Driver, Gate, Pin, Source, Tied, Wire
from emu85.board.frames import MARK, Frame
from emu85.board.schedule import Event, Schedule, nearest_t
from emu85.bus.lines import Line

DEEPEST = 50
"""Changes that may follow from one another at one moment."""


class Ends(Protocol):
    """What the wires are soldered to."""

    def tell(self, sink: Pin | Line, level: int) -> None:
        """The level at a sink changed."""

    def tell_clock(
        self, sink: Pin, period: Fraction | None, start_t: Fraction, high: Fraction
    ) -> None:
        """A clock at a sink of ``takes_clock`` began, changed or stopped."""

    def tell_frame(self, sink: Pin, frame: Frame) -> None:
        """A character begins at a sink of ``takes_frames``."""

    def takes_clock(self, sink: Pin | Line) -> bool:
        """Whether a sink reckons with clocks."""

    def takes_frames(self, sink: Pin | Line) -> bool:
        """Whether a sink takes characters."""

    def sends_frames(self, source: Source) -> bool:
        """Whether a source gives characters."""

    def at_rest(self, source: Source) -> int | None:
        """The level of a source before anybody drives it."""


class Wave:
    """A running clock: edge ``2n`` rises and edge ``2n + 1`` falls in period ``n``."""

    def __init__(self, period: Fraction, start: Fraction, high: Fraction) -> None:
        """Rises at ``start`` and after every ``period``, high for ``high``; T-states."""
        self.period = period
        self.start = start
        self.high = high
        self.event: Event | None = None

    @property
    def inverse(self) -> Wave:
        """The same wave upside down."""
        return Wave(self.period, self.start + self.high, self.period - self.high)

    def edge(self, number: int) -> int:
        """The T-state of an edge."""
        rise = self.start + number // 2 * self.period
        return nearest_t(rise + self.high if number % 2 else rise)

    def next_edge(self, t: int) -> int:
        """The number of the first edge after ``t``; edge 0 if the wave begins later."""
        number = max(0, 2 * ((t - self.start) // self.period) - 2)
        while self.edge(number) <= t:
            number += 1
        return number


@dataclass(slots=True)
class _Reached:
    """The wires that a source drives, by what travels on them.

    A clock goes whole to ``clocks`` and as edges to ``not_clocks``; a character
    to ``frames`` and ``not_frames``.
    """

    everything: list[Wire] = field(default_factory=list)
    clocks: list[Wire] = field(default_factory=list)
    not_clocks: list[Wire] = field(default_factory=list)
    frames: list[Wire] = field(default_factory=list)
    not_frames: list[Wire] = field(default_factory=list)


class Wiring:
    """Carries every change of a driver to what it reaches.

    While power comes on, drivers find their levels in silence (:meth:`power`);
    then every sink is told once (:meth:`settle`), so that no sink sees an edge
    that is only an order of start-up.
    """

    def __init__(self, wires: Sequence[Wire], ends: Ends, schedule: Callable[[], Schedule]) -> None:
        """``schedule()`` is the host's, which may be plugged in later."""
        self._wires = wires
        self._ends = ends
        self._schedule = schedule
        self._silent = True
        self._depth = 0
        self._levels: dict[Source, int | None] = {}
        self._sinks: dict[Pin | Line, int] = {}
        self._waves: dict[Source, Wave] = {}
        self._rest: dict[Source, int | None] = {}
        self._reached: dict[Source, _Reached] = {}
        for wire in wires:
            for driver in wire.drivers:
                self._reach(driver.source, wire)

    def is_wired(self, pin: Pin) -> bool:
        """Whether a wire begins or ends at a pin."""
        return pin in self._reached or any(wire.sink == pin for wire in self._wires)

    def sources_of(self, device: str) -> list[Pin]:
        """The pins of a device that drive something."""
        pins = [source for source in self._reached if isinstance(source, Pin)]
        return [pin for pin in pins if pin.device == device]

    def power(self) -> None:
        """Let every driver be at rest and tell nobody until :meth:`settle`."""
        self._levels = dict(self._rest)
        self._sinks.clear()
        self._waves.clear()
        self._silent = True

    def settle(self) -> None:
        """Tell each sink the level, and the clock, that follows from its drivers."""
        self._silent = False
        for wire in self._wires:
            level = self._sinks[wire.sink] = self._level(wire)
            self._ends.tell(wire.sink, level)
        for source in list(self._waves):
            self._begin(source)

    def drive(self, source: Source, level: int | None) -> None:
        """A driver goes to a level, or lets its pin go (None); what it reaches is told.

        Raises:
            UserError: devices drive one another round and round without end.
        """
        if source in self._waves:
            self._stop(source)
        reached = self._reached.get(source)
        if reached:
            self._put(source, level, reached.everything)

    def drive_clock(
        self,
        source: Source,
        period: Fraction | None,
        start_t: Fraction | int,
        high: Fraction | None,
    ) -> None:
        """A driver gives a square wave, or (None) stops at the level it has now.

        Raises:
            UserError: a wave too fast for a sink that needs its edges.
        """
        self._stop(source)
        if period is None or source not in self._reached:
            return
        width = period / 2 if high is None else high
        self._waves[source] = Wave(period, Fraction(start_t), width)
        if not self._silent:
            self._begin(source)

    def send_frame(self, source: Source, frame: Frame) -> None:
        """A driver begins to send a character."""
        reached = self._reached.get(source)
        if reached is None:
            return
        for wire in reached.frames:
            assert isinstance(wire.sink, Pin)
            self._ends.tell_frame(wire.sink, frame)
        if reached.not_frames:
            self._spell_out(source, frame, reached.not_frames)

    # --- levels ---------------------------------------------------------------------

    def _reach(self, source: Source, wire: Wire) -> None:
        if isinstance(source, Tied):
            self._rest[source] = source.value
            return
        reached = self._reached.setdefault(source, _Reached())
        if wire in reached.everything:
            return
        self._rest[source] = self._ends.at_rest(source)
        reached.everything.append(wire)
        clock = self._carries_clock(wire)
        (reached.clocks if clock else reached.not_clocks).append(wire)
        frames = self._carries_frames(source, wire)
        (reached.frames if frames else reached.not_frames).append(wire)

    def _carries_clock(self, wire: Wire) -> bool:
        return len(wire.drivers) == 1 and self._ends.takes_clock(wire.sink)

    def _carries_frames(self, source: Source, wire: Wire) -> bool:
        """Whether characters go whole: a receiver reckons with their AND, nothing else."""
        ands = wire.gate is not Gate.ANY or len(wire.drivers) == 1
        upright = not any(driver.inverted for driver in wire.drivers)
        ends = self._ends.sends_frames(source) and self._ends.takes_frames(wire.sink)
        return ends and ands and upright

    def _put(self, source: Source, level: int | None, wires: list[Wire]) -> None:
        if self._levels.get(source, 0) == level:
            return
        self._levels[source] = level
        if self._silent:
            return
        self._depth += 1
        try:
            for wire in wires:
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
        self._ends.tell(wire.sink, now)

    def _level(self, wire: Wire) -> int:
        if len(wire.drivers) == 1:
            return int(self._seen(wire.drivers[0]))
        if wire.gate is Gate.ANY:
            return int(any(self._seen(driver) for driver in wire.drivers))
        # Outputs that share a wire: any that is low pulls it low, if none does it is high.
        return int(all(self._seen(driver) for driver in wire.drivers))

    def _seen(self, driver: Driver) -> bool:
        level = self._levels.get(driver.source, 0)
        return (level is None or bool(level)) != driver.inverted

    # --- clocks ---------------------------------------------------------------------

    def _begin(self, source: Source) -> None:
        wave, reached = self._waves[source], self._reached[source]
        for wire in reached.clocks:
            assert isinstance(wire.sink, Pin)
            seen = wave.inverse if wire.drivers[0].inverted else wave
            self._ends.tell_clock(wire.sink, seen.period, seen.start, seen.high)
        plain = reached.not_clocks
        if not plain:
            return
        if wave.period < 2:  # a pulse shorter than a T-state is still two edges
            raise plain[0].node.wrong(
                "the clock on this wire changes faster than a T-state",
                expected="a slower one, or a clock input",
            )
        number = wave.next_edge(self._schedule().now)
        if number:
            self._put(source, number % 2, plain)
        self._await_edge(source, wave, number, plain)

    def _await_edge(self, source: Source, wave: Wave, number: int, plain: list[Wire]) -> None:
        def happen() -> None:
            self._await_edge(source, wave, number + 1, plain)
            self._put(source, 1 - number % 2, plain)

        wave.event = self._schedule().at(wave.edge(number), happen)

    def _stop(self, source: Source) -> None:
        """End a clock, the pin staying at the level where the wave has it now."""
        wave = self._waves.pop(source, None)
        if wave is None:
            return
        if wave.event:
            wave.event.cancel()
        now = self._schedule().now
        number = wave.next_edge(now)
        if number:
            self._levels[source] = number % 2
        if self._silent:
            return
        for wire in self._reached[source].clocks:
            assert isinstance(wire.sink, Pin)
            self._sinks[wire.sink] = self._level(wire)
            self._ends.tell_clock(wire.sink, None, Fraction(now), Fraction(0))

    # --- characters -----------------------------------------------------------------

    def _spell_out(self, source: Source, frame: Frame, plain: list[Wire]) -> None:
        """Give a character to sinks that see levels only."""
        changes: deque[tuple[int, int]] = deque()
        before = MARK
        for number, level in enumerate((*frame.levels, MARK)):
            if level != before:
                changes.append((nearest_t(frame.start + number * frame.bit_time), level))
            before = level

        def walk() -> None:
            _, level = changes.popleft()
            if changes:
                self._schedule().at(changes[0][0], walk)
            self._put(source, level, plain)

        if changes:
            self._schedule().at(changes[0][0], walk)
