"""The ``lines:`` table of a board file, read against the devices there are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from emu85.board import kinds
from emu85.board.description import (
    CpuClock,
    DeviceUse,
    Driver,
    Gate,
    Pin,
    Source,
    Tied,
    Wire,
    name_of,
)
from emu85.board.device import Device
from emu85.board.kinds import Values
from emu85.board.nets import Nets
from emu85.board.nodes import Entries, Node, Table, Word
from emu85.bus import lines
from emu85.bus.lines import Line
from emu85.errors import Mistakes, nearest

_OUTPUTS: dict[str, Source] = {
    "sod": Line.SOD,
    "hlda": Line.HLDA,
    "reset out": Line.RESET_OUT,
    "clk": CpuClock.CLK,
    "low": Tied.LOW,
    "high": Tied.HIGH,
}
_SHOWN = ("SOD", "HLDA", "RESET OUT", "CLK", "low", "high")
_RANGE = re.compile(r"([a-z]*[a-z_])([0-9]+)\s*-\s*([a-z]*[a-z_])([0-9]+)", re.I | re.A)
_GATES = {"any": Gate.ANY, "all": Gate.ALL}
_PIN_TAKES = "a pin as NAME.PIN"


def read_wires(values: Values, used: Sequence[DeviceUse], serial: bool) -> tuple[Wire, ...]:
    """The wires of a board; ``serial`` says that the serial line drives SID.

    Raises:
        UserError: a mistake in it; those of several entries are told together.
    """
    if not values.given("lines"):
        return ()
    node = values.node("lines")
    if not isinstance(node, Table):
        raise node.wrong("lines must be a table", expected="what receives: what drives it")
    reader = _Reader({use.name.casefold(): use for use in used}, serial)
    nets = Nets({use.name: use.device for use in used}.get)
    wires: dict[Pin | Line, Wire] = {}
    mistakes = Mistakes()
    for name, key in node.keys.items():
        with mistakes.noted():
            for wire in reader.wires(key, name, node.values[name]):
                if wire.sink in wires:
                    first = wires[wire.sink].node.place.line
                    raise key.wrong(
                        f"{name_of(wire.sink)!r} is wired twice, first in line {first}",
                        expected="a list of what drives it, in one place",
                    )
                nets.add(wire)
                wires[wire.sink] = wire
    mistakes.tell()
    return tuple(wires.values())


@dataclass
class _Reader:
    """Turns entries into wires.

    Attributes:
        devices: by name, folded.
        serial: whether the serial line drives SID.
    """

    devices: dict[str, DeviceUse]
    serial: bool

    def wires(self, key: Word, name: str, value: Node) -> list[Wire]:
        """The wires of one entry, several where it names ranges of pins."""
        sinks = self._sinks(key, name)
        gate, nodes = _drivers(value)
        drivers = [self._sources(node, sinks, name) for node in nodes]
        found = []
        for number, sink in enumerate(sinks):
            ends = tuple(each[number] for each in drivers)
            both_ways = gate is Gate.JOINED and self._both_ways(sink, ends)
            found.append(Wire(sink, ends, key, gate, both_ways))
        return found

    def _both_ways(self, sink: Pin | Line, drivers: Sequence[Driver]) -> bool:
        """Whether every pin of a wire can both drive and be driven."""
        ends = [sink, *(driver.source for driver in drivers if not driver.inverted)]
        pins = [end for end in ends if isinstance(end, Pin)]
        return len(pins) == 1 + len(drivers) and all(
            pin.pin in self._class(pin).sinks() and pin.pin in self._class(pin).sources()
            for pin in pins
        )

    # --- what receives -----------------------------------------------------------

    def _sinks(self, key: Word, name: str) -> list[Pin | Line]:
        line = lines.BY_NAME.get(name.casefold())
        if line is None and name.rpartition(".")[0].strip().casefold() in self.devices:
            return [self._pin(key, text, outputs=False) for text in _spread(key, name)]
        inputs = [text for each, text in lines.NAMES.items() if each in lines.INPUTS]
        if line is None:
            raise key.unknown("line", name, [*inputs, *self._pins(outputs=False)])
        if line not in lines.INPUTS:
            raise key.wrong(
                f"{lines.NAMES[line]} is driven by the CPU", expected="one of " + ", ".join(inputs)
            )
        if line is Line.SID and self.serial:
            raise key.wrong("SID is driven by the serial line", expected="either serial or this")
        return [line]

    # --- what drives ---------------------------------------------------------------

    def _sources(self, node: Node, sinks: Sequence[Pin | Line], name: str) -> list[Driver]:
        """The drivers that one word names, one for each sink."""
        text = kinds.word(node, _PIN_TAKES)
        inverted = text.startswith("not ")
        plain = text.removeprefix("not ").strip()
        output = _OUTPUTS.get(plain.casefold())
        if output is CpuClock.CLK:
            self._can_follow_clk(node, sinks)
        if output is not None:
            return [Driver(output, inverted, node)] * len(sinks)
        found = [self._pin(node, each, outputs=True) for each in _spread(node, plain)]
        if len(found) != len(sinks):
            raise node.wrong(
                f"{name} is {_count(len(sinks))} and {plain} is {_count(len(found))}",
                expected="as many on both sides",
            )
        return [Driver(pin, inverted, node) for pin in found]

    def _can_follow_clk(self, node: Node, sinks: Sequence[Pin | Line]) -> None:
        """Refuse CLK where only edges are seen: it has two in a T-state."""
        for sink in sinks:
            if isinstance(sink, Line) or sink.pin not in self._class(sink).clock_inputs:
                raise node.wrong(
                    f"CLK is too fast for {name_of(sink)}", expected="a clock input, as a timer has"
                )

    def _pin(self, node: Node, text: str, *, outputs: bool) -> Pin:
        name, _, pin = (part.strip() for part in text.rpartition("."))
        use = self.devices.get(name.casefold())
        if use is None:
            known = self._pins(outputs=outputs) + (list(_SHOWN) if outputs else [])
            raise node.wrong(
                f"no device {name or text!r} on this board",
                expected="one of " + ", ".join(known) if known else "a device with pins",
                near=nearest(text, known),
            )
        pins = use.device.sources() if outputs else use.device.sinks()
        way = "output" if outputs else "input"
        for known_pin in pins:
            if known_pin.casefold() == pin.casefold():
                return self._free_pin(node, use, known_pin, outputs=outputs)
        if not pins:
            raise node.wrong(f"device {use.device.kind} has no {way} pins")
        raise node.unknown(f"{way} pin of {use.name}", pin, pins)

    def _free_pin(self, node: Node, use: DeviceUse, pin: str, *, outputs: bool) -> Pin:
        taken = use.terminal and use.device.serial_pins and use.device.serial_pins[0] == pin
        if taken and not outputs:
            raise node.wrong(
                f"{use.name}.{pin} is driven by its terminal", expected="either terminal or this"
            )
        return Pin(use.name, pin)

    def _pins(self, *, outputs: bool) -> list[str]:
        return [
            f"{use.name}.{pin}"
            for use in self.devices.values()
            for pin in (use.device.sources() if outputs else use.device.sinks())
        ]

    def _class(self, pin: Pin) -> type[Device]:
        return self.devices[pin.device.casefold()].device


def _drivers(value: Node) -> tuple[Gate, tuple[Node, ...]]:
    """How an entry's drivers act together, and the drivers."""
    gate = Gate.JOINED
    if isinstance(value, Table):
        if len(value.keys) != 1:
            raise value.wrong("a gate is one word and its list", expected="any or all")
        (word, key), (value,) = *value.keys.items(), tuple(value.values.values())
        if word.casefold() not in _GATES:
            raise key.unknown("gate", word, _GATES)
        gate = _GATES[word.casefold()]
    nodes = value.items if isinstance(value, Entries) else (value,)
    if not nodes:
        raise value.wrong("nothing drives this", expected=_PIN_TAKES)
    return gate, nodes


def _spread(node: Node, text: str) -> list[str]:
    """The pins of a range such as ``lcd.d0-d7``, or the one pin."""
    name, dot, pins = text.rpartition(".")
    found = _RANGE.fullmatch(pins.strip())
    if found is None:
        return [text]
    letters, first, again, last = found.groups()
    if letters.casefold() != again.casefold():
        raise node.wrong(
            f"{pins} is no range of pins",
            expected=f"one name with two numbers, as {letters}0-{letters}7",
        )
    low, high = int(first), int(last)
    step = 1 if low <= high else -1
    if abs(high - low) > 255:
        raise node.wrong(f"the range {pins} is too long", expected="at most 256 pins")
    return [f"{name}{dot}{letters}{number}" for number in range(low, high + step, step)]


def _count(pins: int) -> str:
    return "one pin" if pins == 1 else f"{pins} pins"
