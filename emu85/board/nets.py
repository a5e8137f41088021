"""Nets: the pins that a board's wires join, and whether their outputs get along.

An entry of ``lines:`` joins what receives with what drives it, and so do further
entries with the same pins: a bus is one net, however its wires are written.  A
gate or an inverter ends a net and begins another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from emu85.board.description import Driver, Gate, Pin, Source, Tied, Wire, name_of
from emu85.board.device import Device
from emu85.board.nodes import Node
from emu85.bus.lines import INPUTS, Line

SENDS, TAKES, CTS = "sends", "takes", "cts"
"""Pins of a terminal, which is no device."""

ClassOf = Callable[[str], type[Device] | None]
"""The class of a device by its name; None for what is no device, as a terminal."""


@dataclass(frozen=True, slots=True, eq=False)
class GateOutput:
    """The output of a gate or an inverter on the board, and what goes into it."""

    gate: Gate
    inputs: tuple[Driver, ...]

    def __str__(self) -> str:
        between = " or " if self.gate is Gate.ANY else " and "
        return between.join(str(driver) for driver in self.inputs)


@dataclass(frozen=True, slots=True, eq=False)
class Rail:
    """Ground or the supply, where one wire meets it."""

    level: int

    def __str__(self) -> str:
        return name_of(Tied(self.level))


Origin = Rail | GateOutput | Source
"""What may drive a net."""


def named(origin: Origin) -> str:
    """What messages call an origin."""
    return str(origin) if isinstance(origin, Rail | GateOutput) else name_of(origin)


@dataclass(frozen=True, slots=True)
class Joint:
    """One driver's place in a net, and the entry of the board file that put it there."""

    origin: Origin
    node: Node


@dataclass(slots=True, eq=False)
class Net:
    """Pins that are joined.

    Attributes:
        joints: what may drive it, in order of the file; pins that can let go as well.
        sinks: what receives, in order of the file; a pin that drives may be one too.
        nodes: the entries of the board file that make it.
    """

    joints: list[Joint] = field(default_factory=list)
    sinks: list[Pin | Line] = field(default_factory=list)
    nodes: list[Node] = field(default_factory=list)

    def take(self, other: Net) -> None:
        """Become one with another."""
        self.joints += other.joints
        self.sinks += other.sinks
        self.nodes += other.nodes


class Nets:
    """The nets of a board, made wire by wire."""

    def __init__(self, class_of: ClassOf) -> None:
        self._class_of = class_of
        self._net_of: dict[Source, Net] = {}

    def __iter__(self) -> Iterator[Net]:
        return iter(dict.fromkeys(self._net_of.values()))

    @property
    def ends(self) -> frozenset[Source]:
        """Every pin and line that a wire begins or ends at."""
        return frozenset(self._net_of)

    def of(self, end: Source) -> Net:
        """The net of one of ``ends``."""
        return self._net_of[end]

    def add(self, wire: Wire) -> None:
        """Join what a wire joins.

        Raises:
            UserError: outputs that always drive meet on it.
        """
        net = self._net(wire.sink, wire.node)
        net.nodes.append(wire.node)
        if wire.gate is not Gate.JOINED:
            self._add_gate(net, GateOutput(wire.gate, wire.drivers), wire.node)
            return
        for driver in wire.drivers:
            net = self._add_driver(net, driver, wire.node)

    def _add_driver(self, net: Net, driver: Driver, entry: Node) -> Net:
        node = driver.node or entry
        if driver.inverted:
            self._add_gate(net, GateOutput(Gate.ANY, (driver,)), node)
        elif isinstance(driver.source, Tied):
            self._add_joint(net, Joint(Rail(driver.source.value), node))
        else:
            net = self._merge(net, self._net(driver.source, node), node)
        return net

    def _add_gate(self, net: Net, output: GateOutput, node: Node) -> None:
        self._add_joint(net, Joint(output, node))
        for driver in output.inputs:
            if not isinstance(driver.source, Tied):
                self._net(driver.source, driver.node or node)

    def _add_joint(self, net: Net, joint: Joint) -> None:
        net.joints.append(joint)
        self._refuse_a_fight(net, joint.node)

    def _net(self, end: Source, node: Node) -> Net:
        """The net of a pin or a line, which may be new."""
        net = self._net_of.get(end)
        if net is not None:
            return net
        net = self._net_of[end] = Net()
        if can_drive(end, self._class_of):
            net.joints.append(Joint(end, node))
        if isinstance(end, Pin | Line) and can_be_driven(end, self._class_of):
            net.sinks.append(end)
        return net

    def _merge(self, net: Net, other: Net, node: Node) -> Net:
        if other is net:
            return net
        net.take(other)
        for end, each in self._net_of.items():
            if each is other:
                self._net_of[end] = net
        self._refuse_a_fight(net, node)
        return net

    def _refuse_a_fight(self, net: Net, node: Node) -> None:
        """Refuse an output that always drives beside another; ``node`` has joined them."""
        driving = [joint for joint in net.joints if not lets_go(joint.origin, self._class_of)]
        always = [joint for joint in driving if not is_open(joint.origin, self._class_of)]
        if len(driving) < 2 or not always:
            return
        culprit = always[min(1, len(always) - 1)]
        other = next(joint for joint in driving if joint is not culprit)
        line = node.place.line
        near = culprit.node if culprit.node.place.line == line else node
        where = "" if other.node.place.line == line else f" of line {other.node.place.line}"
        raise near.wrong(
            f"{named(culprit.origin)} is no open-collector output, so it cannot share the wire "
            f"with {named(other.origin)}{where}",
            expected="one of them, or a gate as {any: [...]} or {all: [...]}",
        )


# --- what a pin can do ------------------------------------------------------------------


def can_drive(end: Source, class_of: ClassOf) -> bool:
    """Whether a pin or a line may ever drive."""
    if isinstance(end, Line):
        return end not in INPUTS
    if not isinstance(end, Pin):
        return True
    device = class_of(end.device)
    return end.pin in device.sources() if device else end.pin == SENDS


def can_be_driven(end: Pin | Line, class_of: ClassOf) -> bool:
    """Whether a pin or a line receives."""
    if isinstance(end, Line):
        return end in INPUTS
    device = class_of(end.device)
    return end.pin in device.sinks() if device else end.pin in (TAKES, CTS)


def is_open(origin: Origin, class_of: ClassOf) -> bool:
    """Whether an output is open collector: it pulls low or lets go."""
    device = class_of(origin.device) if isinstance(origin, Pin) else None
    return device is not None and isinstance(origin, Pin) and origin.pin in device.open_collector


def lets_go(origin: Origin, class_of: ClassOf) -> bool:
    """Whether a pin can be an input as well, so that it need not drive."""
    device = class_of(origin.device) if isinstance(origin, Pin) else None
    return device is not None and isinstance(origin, Pin) and origin.pin in device.sinks()
