"""Nets that carry levels, clocks and characters from outputs to inputs.

Three things travel on a net:

* levels, told to what receives when they change;
* a clock: a square wave that is told once, with its period, to a pin that can
  reckon with it (a timer's clock input), and reaches every other as real
  edges, one event each;
* frames: characters of an asynchronous line, told once to a pin that takes
  them (a receiver), and reaching every other as real edges.

An output may let its pin go (``None``).  A net that nobody pulls low is high, by
its pull-up (common practice, no published source).  Where one output drives it
high and another low, low wins, and a fight that lasts is noted as a finding.  A
pin that drives is not told what it does itself.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import partial
from typing import Protocol

from emu85.board.description import Driver, Gate, Pin, Source, Tied
from emu85.board.frames import MARK, Frame
from emu85.board.nets import GateOutput, Net, Nets, Origin, Rail, named
from emu85.board.nodes import Node
from emu85.board.schedule import Event, Schedule, nearest_t
from emu85.board.square_wave import SquareWave
from emu85.bus.lines import Line
from emu85.errors import UserError

DEEPEST = 50
"""Changes that may follow from one another at one moment."""

FIGHT = "one output drives a wire high, another low"
TOO_FAST = "a clock changes faster than a T-state on a wire where only edges are seen"


class Ends(Protocol):
    """What the wires are soldered to."""

    @property
    def schedule(self) -> Schedule:
        """Board time and deadlines."""

    def note(self, description: str, where: str) -> None:
        """Count a finding."""

    def teller(self, sink: Pin | Line) -> Callable[[int], None]:
        """What to call when the level at a sink changes."""

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

    def is_open(self, source: Source) -> bool:
        """Whether a source only pulls low and lets go."""


class Wave(SquareWave):
    """A running clock, upright or, behind an inverter, upside down.

    Attributes:
        event: its next edge, where edges are seen.
        number: that of this edge.
    """

    def __init__(
        self, period: Fraction, start: Fraction, high: Fraction, *, is_inverted: bool = False
    ) -> None:
        """A period begins at ``start``; the upright wave is high for ``high``; T-states."""
        super().__init__(period, start, high)
        self.is_inverted = is_inverted
        self.event: Event | None = None
        self.number = 0

    def behind(self, *, inverter: bool) -> Wave:
        """The wave on another net, behind an inverter or not."""
        is_inverted = self.is_inverted != inverter
        return Wave(self.period, self.start, self.high, is_inverted=is_inverted)

    @property
    def rises_at(self) -> Fraction:
        """The moment of a rising edge."""
        return self.start + self.high if self.is_inverted else self.start

    @property
    def high_time(self) -> Fraction:
        """How long it is high in each period."""
        return self.period - self.high if self.is_inverted else self.high

    def level_before(self, number: int) -> int:
        """The level that ends with an edge."""
        return number % 2 ^ self.is_inverted


class Tap(Protocol):
    """What hears a net: a pin or a line, or a gate that carries on."""

    def follow(self) -> None:
        """The level may have changed."""

    def follow_wave(self, wave: Wave | None) -> None:
        """A clock began, or (None) it stopped at the level of now."""

    def follow_frame(self, frame: Frame) -> None:
        """A character begins."""


class Output:
    """Something that may drive a net.

    Attributes:
        level: what it drives; None when it lets go.
        taps: what hears it.
        wave_taps, edge_taps: those that take a clock whole, and the others.
        frame_taps, bit_taps: those that take characters whole, and the others.
    """

    NOT_STATE = frozenset(
        {
            "bit_taps",
            "edge_taps",
            "frame_taps",
            "is_open",
            "net",
            "origin",
            "rest",
            "taps",
            "wave_taps",
        }
    )

    __slots__ = (
        "bit_taps",
        "edge_taps",
        "frame_taps",
        "is_open",
        "level",
        "net",
        "origin",
        "rest",
        "taps",
        "wave",
        "wave_taps",
    )

    def __init__(self, origin: Origin, net: LiveNet, rest: int | None, *, is_open: bool) -> None:
        self.origin = origin
        self.net = net
        self.rest = self.level = rest
        self.is_open = is_open
        self.wave: Wave | None = None
        self.taps: list[Tap] = []
        self.wave_taps: list[Tap] = []
        self.edge_taps: list[Tap] = []
        self.frame_taps: list[Tap] = []
        self.bit_taps: list[Tap] = []


class LiveNet:
    """A net with power on.

    Attributes:
        outputs: what may drive it.
        may_fight: whether two of them may drive at once.
        fights: whether two did when it was last looked at.
    """

    NOT_STATE = frozenset({"may_fight", "nodes", "outputs"})

    __slots__ = ("fights", "may_fight", "nodes", "outputs")

    def __init__(self, nodes: Sequence[Node]) -> None:
        self.nodes = nodes
        self.outputs: list[Output] = []
        self.may_fight = False
        self.fights = False

    def level(self) -> int:
        """What a gate at the net sees."""
        return int(all(output.level != 0 for output in self.outputs))

    def fighters(self) -> tuple[Output, Output] | None:
        """An output that drives high and one that drives low, if there are both."""
        low = next((each for each in self.outputs if each.level == 0), None)
        if low is None:
            return None
        highs = (each for each in self.outputs if each.level == 1 and not each.is_open)
        high = next(highs, None)
        return (high, low) if high else None


class SinkTap:
    """A pin or a line that receives."""

    NOT_STATE = frozenset({"_drivers", "_ends", "sink"})

    __slots__ = ("_drivers", "_ends", "_level", "_tell", "sink")

    def __init__(self, sink: Pin | Line, drivers: Sequence[Output], ends: Ends) -> None:
        self.sink = sink
        self._drivers = drivers
        self._ends = ends
        self._level: int | None = None
        self._tell: Callable[[int], None] | None = None

    def _now(self) -> int:
        for driver in self._drivers:
            if driver.level == 0:
                return 0
        return 1

    def settle(self) -> None:
        """Tell the level for the first time since power came on."""
        self._level = None
        self._tell = self._ends.teller(self.sink)
        self.follow()

    def follow(self) -> None:
        """Tell the level if it has changed."""
        now = self._now()
        if now != self._level and self._tell:
            self._level = now
            self._tell(now)

    def follow_wave(self, wave: Wave | None) -> None:
        """Tell a clock."""
        assert isinstance(self.sink, Pin)
        if wave:
            self._ends.tell_clock(self.sink, wave.period, wave.rises_at, wave.high_time)
            return
        self._level = self._now()
        self._ends.tell_clock(self.sink, None, Fraction(self._ends.schedule.now), Fraction(0))

    def follow_frame(self, frame: Frame) -> None:
        """Tell a character."""
        assert isinstance(self.sink, Pin)
        self._ends.tell_frame(self.sink, frame)


class GateTap:
    """A gate or an inverter, which drives another net."""

    __slots__ = ("_inputs", "_is_any", "_wiring", "output")

    def __init__(
        self,
        gate: Gate,
        inputs: Sequence[tuple[LiveNet, bool]],
        output: Output,
        wiring: Wiring,
    ) -> None:
        """``inputs`` are nets, each with whether it is inverted."""
        self.output = output
        self._is_any = gate is Gate.ANY
        self._inputs = inputs
        self._wiring = wiring

    @property
    def inputs(self) -> list[LiveNet]:
        """The nets at its inputs."""
        return [net for net, _ in self._inputs]

    @property
    def is_single(self) -> bool:
        """Whether it has one input, so that a clock is a clock behind it as well."""
        return len(self._inputs) == 1

    @property
    def keeps_frames(self) -> bool:
        """Whether characters stay whole: a receiver reckons with their AND, nothing else."""
        upright = not any(inverted for _, inverted in self._inputs)
        return upright and (self.is_single or not self._is_any)

    def now(self) -> int:
        """The level that follows from the inputs."""
        levels = (bool(net.level()) != inverted for net, inverted in self._inputs)
        return int(any(levels) if self._is_any else all(levels))

    def follow(self) -> None:
        """Drive what follows from the inputs."""
        self._wiring.drive(self.output, self.now())

    def follow_wave(self, wave: Wave | None) -> None:
        """Carry a clock on."""
        if wave is None:
            self._wiring.stop_wave(self.output)
            return
        (_, inverted), *_ = self._inputs
        self._wiring.begin_wave(self.output, wave.behind(inverter=inverted))

    def follow_frame(self, frame: Frame) -> None:
        """Carry a character on."""
        self._wiring.send_frame(self.output, frame)


class Wiring:
    """Carries every change of an output to what it reaches.

    While power comes on, outputs find their levels in silence (:meth:`power`);
    then everything that receives is told once (:meth:`settle`), so that nothing
    sees an edge that is only an order of start-up.
    """

    def __init__(self, nets: Nets, ends: Ends) -> None:
        self._ends = ends
        self._silent = True
        self._depth = 0
        self._pins = nets.ends
        self._outputs: dict[Origin, Output] = {}
        self._sinks: list[SinkTap] = []
        self._gates: list[GateTap] = []
        self._live: list[LiveNet] = []
        net_of: dict[Net, LiveNet] = {}
        for net in nets:
            net_of[net] = self._fit(net)
        for output in list(self._outputs.values()):
            if isinstance(output.origin, GateOutput):
                inputs = output.origin.inputs
                self._fit_gate(
                    GateTap(
                        output.origin.gate,
                        [(self._feeding(each, nets, net_of), each.inverted) for each in inputs],
                        output,
                        self,
                    )
                )
        for output in self._outputs.values():
            self._sort_taps(output)

    # --- what the board asks ------------------------------------------------------

    def parts(self) -> list[object]:
        """Everything whose attributes change while the board runs."""
        return [*self._outputs.values(), *self._live, *self._sinks]

    def is_wired(self, pin: Pin) -> bool:
        """Whether a wire begins or ends at a pin."""
        return pin in self._pins

    def output(self, source: Source) -> Output | None:
        """What a source drives with; None if no wire begins there."""
        return self._outputs.get(source)

    def outputs_of(self, device: str) -> dict[str, Output]:
        """The outputs of a device that a wire reaches, by pin."""
        return {
            origin.pin: output
            for origin, output in self._outputs.items()
            if isinstance(origin, Pin) and origin.device == device
        }

    def power(self) -> None:
        """Let every output be at rest and tell nobody until :meth:`settle`."""
        for output in self._outputs.values():
            output.level = output.rest
            output.wave = None
        for net in self._live:
            net.fights = False
        self._silent = True

    def settle(self) -> None:
        """Tell each sink the level, and the clock, that follows from the outputs."""
        self._settle_gates()
        self._silent = False
        for net in self._live:
            self._look_for_a_fight(net)
        for sink in self._sinks:
            sink.settle()
        for output in [each for each in self._outputs.values() if each.wave]:
            self._begin(output)

    def drive_source(self, source: Source, level: int) -> None:
        """:meth:`drive` for a source that may have no wire."""
        output = self._outputs.get(source)
        if output:
            self.drive(output, level)

    def clock_source(self, source: Source, period: Fraction, start_t: Fraction) -> None:
        """:meth:`drive_clock`, high for half of the period, likewise."""
        output = self._outputs.get(source)
        if output:
            self.drive_clock(output, period, start_t, None)

    def drive(self, output: Output, level: int | None) -> None:
        """An output goes to a level, or lets its pin go (None); what it reaches is told.

        Raises:
            UserError: devices drive one another round and round without end.
        """
        if output.wave:
            self.stop_wave(output)
        self._put(output, level, output.taps)

    def drive_clock(
        self,
        output: Output,
        period: Fraction | None,
        start_t: Fraction | int,
        high: Fraction | None,
    ) -> None:
        """An output gives a square wave, or (None) stops at the level it has now."""
        if period is None:
            self.stop_wave(output)
            return
        width = period / 2 if high is None else high
        self.begin_wave(output, Wave(period, Fraction(start_t), width))

    def begin_wave(self, output: Output, wave: Wave) -> None:
        """An output gives a square wave from now on."""
        self.stop_wave(output)
        output.wave = wave
        if not self._silent:
            self._begin(output)

    def stop_wave(self, output: Output) -> None:
        """End a clock, if there is one; the pin stays at the level that it has now."""
        wave, output.wave = output.wave, None
        if wave is None:
            return
        if wave.event:
            wave.event.cancel()
        number = wave.next_edge(self._ends.schedule.now)
        if number:
            output.level = wave.level_before(number)
        if self._silent:
            return
        for tap in output.wave_taps:
            tap.follow_wave(None)

    def send_frame(self, output: Output, frame: Frame) -> None:
        """An output begins to send a character."""
        for tap in output.frame_taps:
            tap.follow_frame(frame)
        if output.bit_taps:
            self._spell_out(output, frame)

    # --- fitting ------------------------------------------------------------------------

    def _fit(self, net: Net) -> LiveNet:
        """The outputs of a net, and what hears them."""
        live = LiveNet(net.nodes)
        self._live.append(live)
        for joint in net.joints:
            origin = joint.origin
            output = Output(origin, live, self._rest(origin), is_open=self._is_open(origin))
            self._outputs[origin] = output
            live.outputs.append(output)
        live.may_fight = len(live.outputs) > 1 and not all(o.is_open for o in live.outputs)
        for sink in net.sinks:
            drivers = [output for output in live.outputs if output.origin != sink]
            if drivers:
                tap = SinkTap(sink, drivers, self._ends)
                self._sinks.append(tap)
                for output in drivers:
                    output.taps.append(tap)
        return live

    def _feeding(self, driver: Driver, nets: Nets, net_of: Mapping[Net, LiveNet]) -> LiveNet:
        """The net at an input of a gate; a level it is tied to has one of its own."""
        if not isinstance(driver.source, Tied):
            return net_of[nets.of(driver.source)]
        tied = LiveNet(())
        level = driver.source.value
        tied.outputs.append(Output(Rail(level), tied, level, is_open=False))
        return tied

    def _fit_gate(self, gate: GateTap) -> None:
        self._gates.append(gate)
        for output in dict.fromkeys(each for net in gate.inputs for each in net.outputs):
            output.taps.append(gate)

    def _rest(self, origin: Origin) -> int | None:
        if isinstance(origin, Rail):
            return origin.level
        return 0 if isinstance(origin, GateOutput) else self._ends.at_rest(origin)

    def _is_open(self, origin: Origin) -> bool:
        return not isinstance(origin, Rail | GateOutput) and self._ends.is_open(origin)

    def _sort_taps(self, output: Output) -> None:
        is_alone = len(output.net.outputs) == 1
        for tap in output.taps:
            takes_wave = is_alone and self._takes_wave(tap)
            (output.wave_taps if takes_wave else output.edge_taps).append(tap)
            (output.frame_taps if self._takes_frames(tap) else output.bit_taps).append(tap)

    def _takes_wave(self, tap: Tap) -> bool:
        if isinstance(tap, GateTap):
            return tap.is_single and len(tap.output.net.outputs) == 1
        return isinstance(tap, SinkTap) and self._ends.takes_clock(tap.sink)

    def _takes_frames(self, tap: Tap) -> bool:
        if isinstance(tap, GateTap):
            return tap.keeps_frames
        return isinstance(tap, SinkTap) and self._ends.takes_frames(tap.sink)

    # --- levels ---------------------------------------------------------------------------

    def _settle_gates(self) -> None:
        """Bring gates to what follows from outputs at rest, through any number of gates."""
        for _ in range(len(self._gates) + 1):
            before = [gate.output.level for gate in self._gates]
            for gate in self._gates:
                gate.output.level = gate.now()
            if before == [gate.output.level for gate in self._gates]:
                return
        raise self._never_rests(self._gates[0].output)

    def _put(self, output: Output, level: int | None, taps: list[Tap]) -> None:
        if output.level == level:
            return
        output.level = level
        if self._silent:
            return
        if output.net.may_fight:
            self._look_for_a_fight(output.net)
        if self._depth > DEEPEST:
            raise self._never_rests(output)
        self._depth += 1
        try:
            for tap in taps:
                tap.follow()
        finally:
            self._depth -= 1

    def _never_rests(self, output: Output) -> UserError:
        return output.net.nodes[0].wrong("this wire closes a loop that never comes to rest")

    # --- fights ---------------------------------------------------------------------------

    def _look_for_a_fight(self, net: LiveNet) -> None:
        """Look again a T-state later: outputs that change hands overlap by nanoseconds."""
        if net.fighters() is None:
            net.fights = False
        elif not net.fights:
            net.fights = True
            schedule = self._ends.schedule
            schedule.at(schedule.now + 1, partial(self._note_a_fight, net))

    def _note_a_fight(self, net: LiveNet) -> None:
        fighters = net.fighters()
        if fighters:
            names = sorted(named(output.origin) for output in fighters)
            self._ends.note(FIGHT, f"{' and '.join(names)} ({_places(net.nodes)})")

    # --- clocks ---------------------------------------------------------------------------

    def _begin(self, output: Output) -> None:
        wave = output.wave
        assert wave is not None
        for tap in output.wave_taps:
            tap.follow_wave(wave)
        if not output.edge_taps:
            return
        if wave.period < 2:  # a pulse shorter than a T-state is still two edges
            self._ends.note(TOO_FAST, f"{named(output.origin)} ({_places(output.net.nodes)})")
            return
        schedule = self._ends.schedule
        wave.number = wave.next_edge(schedule.now)
        if wave.number:
            self._put(output, wave.level_before(wave.number), output.edge_taps)
        wave.event = schedule.at(wave.edge(wave.number), partial(self._edge, output, wave))

    def _edge(self, output: Output, wave: Wave) -> None:
        level = 1 - wave.level_before(wave.number)
        wave.number += 1
        if wave.event:
            self._ends.schedule.again(wave.event, wave.edge(wave.number))
        self._put(output, level, output.edge_taps)

    # --- characters -----------------------------------------------------------------------

    def _spell_out(self, output: Output, frame: Frame) -> None:
        """Give a character to what sees levels only."""
        changes: deque[tuple[int, int]] = deque()
        before = MARK
        for number, level in enumerate((*frame.levels, MARK)):
            if level != before:
                changes.append((nearest_t(frame.start + number * frame.bit_time), level))
            before = level
        self._await_change(output, changes)

    def _await_change(self, output: Output, changes: deque[tuple[int, int]]) -> None:
        if changes:
            self._ends.schedule.at(changes[0][0], partial(self._change, output, changes))

    def _change(self, output: Output, changes: deque[tuple[int, int]]) -> None:
        _, level = changes.popleft()
        self._await_change(output, changes)
        self._put(output, level, output.bit_taps)


def _places(nodes: Sequence[Node]) -> str:
    """The lines of the board file that make a net."""
    lines = sorted({node.place.line for node in nodes if node.place.line})
    return f"{nodes[0].place.file}:" + ",".join(str(line) for line in lines)
