"""From board text to a checked description; every mistake is told with its place."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from emu85.board import kinds, schema
from emu85.board.description import (
    BoardDescription,
    ChipUse,
    DeviceUse,
    Driver,
    Pin,
    Select,
    SerialFormat,
    Wire,
)
from emu85.board.device import Device
from emu85.board.kinds import Key, Values, read_table
from emu85.board.nodes import Entries, Node, Table, Word, compose
from emu85.board.parts import Part
from emu85.board.registry import devices
from emu85.board.shelf import find_board
from emu85.bus import lines
from emu85.bus.lines import Line
from emu85.errors import Place, UserError, nearest

MEMORY_SPACE = 0x10000
IO_SPACE = 0x100
MOST_ENTRIES = 256
FEWEST_T_IN_BIT = 4
"""No instruction is shorter, so no firmware could make or see a shorter bit."""
_CPU_OUTPUTS = {"sod": Line.SOD, "hlda": Line.HLDA}


def load_board(name_or_path: str | Path) -> BoardDescription:
    """Read a demo board by name, or any board file by path.

    Raises:
        UserError: no such board, a file that cannot be read, or a mistake in it.
    """
    path = find_board(str(name_or_path))
    try:
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        where = Place(str(path), error.object[: error.start].count(b"\n") + 1)
        raise UserError("the board file is not UTF-8 text", where) from None
    except OSError as error:
        raise UserError(f"cannot be read: {error.strerror}", Place(str(path))) from None
    return read_board(text, str(path))


def read_board(text: str, file: str) -> BoardDescription:
    """Read a board text; ``file`` names it in messages and finds what stands beside it.

    Raises:
        UserError: the first mistake found.
    """
    root = compose(text, file)
    values = read_table(root, schema.BOARD, "a board")
    names = _Names()
    memory_nodes = _entries(values, "memory")
    chips = tuple(_chip(n, names) for n in memory_nodes if not _is_device(n))
    used = [_addressed(n, names, schema.MEMORY_DEVICE) for n in memory_nodes if _is_device(n)]
    used += [_addressed(n, names, schema.PORT) for n in _entries(values, "ports")]
    used += [_wired(n, names) for n in _entries(values, "wired")]
    if not chips:
        raise values.node("memory").wrong("the board has no memory", expected="a chip in memory")
    serial = (
        _serial(values.node("serial"), values["crystal"] / 2) if values.given("serial") else None
    )
    firmware = values["firmware"]
    return BoardDescription(
        file=file,
        name=values["name"],
        about=values["about"],
        crystal=values["crystal"],
        pull_ups=values["pull-ups"],
        fill=values["fill"],
        stack=tuple((low, low if high is None else high) for low, high in values["stack"]),
        memory=chips,
        devices=tuple(used),
        wires=_Wiring(used, serial is not None).wires(values),
        serial=serial,
        firmware=Path(firmware) if firmware else None,
        firmware_node=values.node("firmware") if firmware else None,
    )


@dataclass
class _Names:
    """Names already taken, so that each is used once."""

    taken: dict[str, str] = field(default_factory=dict)

    def take(self, values: Values, default: str) -> str:
        name: str | None = values["name"]
        if name is None:
            return self._free(default)
        if name.casefold() in self.taken:
            raise values.node("name").wrong(
                f"the name {name!r} is used twice", expected="a name of its own for each"
            )
        self.taken[name.casefold()] = name
        return name

    def _free(self, default: str) -> str:
        name, number = default, 2
        while name.casefold() in self.taken:
            name, number = f"{default} {number}", number + 1
        self.taken[name.casefold()] = name
        return name


def _entries(values: Values, key: str) -> tuple[Node, ...]:
    if not values.given(key):
        return ()
    node = values.node(key)
    if not isinstance(node, Entries):
        raise node.wrong(f"{key} must be a list", expected='entries that begin with "-"')
    if len(node.items) > MOST_ENTRIES:
        raise node.wrong(f"{key} is too long", expected=f"at most {MOST_ENTRIES} entries")
    return node.items


def _is_device(node: Node) -> bool:
    return isinstance(node, Table) and "device" in node.keys


def _chip(node: Node, names: _Names) -> ChipUse:
    values = read_table(node, schema.CHIP, "a memory entry")
    given = [key for key in ("chip", "rom", "ram") if values.given(key)]
    if len(given) != 1:
        raise node.wrong(
            f"a memory entry has {' and '.join(given) or 'no chip'}",
            expected="one of chip, rom, ram, device",
        )
    part = _part(given[0], values)
    for key, kind in (("code", "ram"), ("battery", "ram"), ("image", "rom")):
        if values.given(key) and part.kind != kind:
            raise values.table.keys[key].wrong(
                f"{key!r} is for {kind.upper()} and this is {part.kind.upper()}"
            )
    return ChipUse(
        name=names.take(values, part.number),
        part=part,
        select=_select(values, part.size, MEMORY_SPACE),
        waits=values["waits"],
        code=values["code"],
        battery=values["battery"],
        image=values["image"],
        node=node,
    )


def _part(key: str, values: Values) -> Part:
    if key == "chip":
        part: Part = values["chip"]
        return part
    return Part(key.upper(), key, values[key], f"{key.upper()} by size")


def _device_class(node: Node) -> type[Device]:
    if not isinstance(node, Table):
        raise node.wrong("an entry must be a table of keys", expected="a device and its keys")
    if "device" not in node.values:
        raise node.wrong("the entry has no 'device'", expected="one of " + ", ".join(devices()))
    value = node.values["device"]
    name = kinds.word(value, "one of " + ", ".join(devices()))
    if name not in devices():
        raise value.unknown("device", name, devices())
    return devices()[name]


def _addressed(node: Node, names: _Names, keys: tuple[Key, ...]) -> DeviceUse:
    device = _device_class(node)
    values = read_table(node, keys + device.options, f"device {device.kind}")
    if not device.registers:
        raise values.node("device").wrong(
            f"device {device.kind} has no registers, so no address", expected="it under wired"
        )
    device.check(values.of(device.options), node)
    space = IO_SPACE if keys is schema.PORT else MEMORY_SPACE
    return DeviceUse(
        name=names.take(values, device.kind),
        device=device,
        options=values.of(device.options),
        select=_select(values, len(device.registers), space),
        waits=values["waits"],
        node=node,
    )


def _wired(node: Node, names: _Names) -> DeviceUse:
    device = _device_class(node)
    values = read_table(node, schema.WIRED + device.options, f"device {device.kind}")
    if device.registers:
        raise values.node("device").wrong(
            f"device {device.kind} has registers", expected="it under ports or memory"
        )
    device.check(values.of(device.options), node)
    name = names.take(values, device.kind)
    return DeviceUse(name, device, values.of(device.options), None, 0, node)


def _select(values: Values, size: int, space: int) -> Select:
    node = values.node("at")
    low, high = values["at"]
    last = low + size - 1 if high is None else high
    if last >= space:
        raise node.wrong(
            f"{size} addresses from {low:X} go beyond {space - 1:X}",
            expected=f"at most {space - size:X} here",
        )
    own = (1 << (size - 1).bit_length()) - 1
    if values["ignores"] & own:
        first, top = (own + 1).bit_length() - 1, space.bit_length() - 2
        raise values.node("ignores").wrong(
            "a line that the chip itself uses cannot be ignored",
            expected=f"lines A{first} to A{top}" if first <= top else "none",
        )
    return Select(low, last, values["ignores"], space)


def _serial(node: Node, clock: Fraction) -> SerialFormat:
    values = read_table(node, schema.SERIAL, "serial")
    if clock < FEWEST_T_IN_BIT * values["baud"]:
        raise values.node("baud").wrong(
            f"a bit would be shorter than {FEWEST_T_IN_BIT} T-states",
            expected=f"at most {clock // FEWEST_T_IN_BIT} baud with this crystal",
        )
    bits, parity, stop = values["format"]
    return SerialFormat(
        baud=Fraction(values["baud"]),
        bits=bits,
        parity=parity,
        stop=stop,
        inverted=values["polarity"] == "inverted",
        gap=values["gap"],
    )


class _Wiring:
    """Reads the table of wires against the devices there are."""

    def __init__(self, used: list[DeviceUse], serial: bool) -> None:
        self.devices = {use.name.casefold(): use for use in used}
        self.serial = serial

    def wires(self, values: Values) -> tuple[Wire, ...]:
        if not values.given("lines"):
            return ()
        node = values.node("lines")
        if not isinstance(node, Table):
            raise node.wrong("lines must be a table", expected="what receives: what drives it")
        wires: dict[Pin | Line, Wire] = {}
        for name, key in node.keys.items():
            wire = self._wire(key, name, node.values[name])
            if wire.sink in wires:
                raise key.wrong(
                    f"{name!r} is wired twice", expected="a list of what drives it, in one place"
                )
            wires[wire.sink] = wire
        return tuple(wires.values())

    def _wire(self, key: Word, name: str, value: Node) -> Wire:
        sink = self._sink(key, name)
        nodes = value.items if isinstance(value, Entries) else (value,)
        if not nodes:
            raise value.wrong("nothing drives this", expected="a pin as NAME.PIN")
        return Wire(sink, tuple(self._driver(node) for node in nodes), key)

    def _sink(self, key: Word, name: str) -> Pin | Line:
        line = lines.BY_NAME.get(name.casefold())
        if line is None and name.rpartition(".")[0].strip().casefold() in self.devices:
            return self._pin(key, name, outputs=False)
        inputs = [text for each, text in lines.NAMES.items() if each in lines.INPUTS]
        if line is None:
            raise key.unknown("line", name, [*inputs, *self._pins(outputs=False)])
        if line not in lines.INPUTS:
            raise key.wrong(
                f"{lines.NAMES[line]} is driven by the CPU", expected="one of " + ", ".join(inputs)
            )
        if line is Line.SID and self.serial:
            raise key.wrong("SID is driven by the serial line", expected="either serial or this")
        return line

    def _driver(self, node: Node) -> Driver:
        text = kinds.word(node, "a pin as NAME.PIN")
        inverted = text.startswith("not ")
        name = text.removeprefix("not ").strip()
        output = _CPU_OUTPUTS.get(name.casefold())
        return Driver(output or self._pin(node, name, outputs=True), inverted)

    def _pin(self, node: Node, text: str, *, outputs: bool) -> Pin:
        name, _, pin = (part.strip() for part in text.rpartition("."))
        use = self.devices.get(name.casefold())
        if use is None:
            known = self._pins(outputs=outputs) + (["SOD", "HLDA"] if outputs else [])
            raise node.wrong(
                f"no device {name or text!r} on this board",
                expected="one of " + ", ".join(known) if known else "a device with pins",
                near=nearest(text, known),
            )
        pins = use.device.outputs if outputs else use.device.inputs
        way = "output" if outputs else "input"
        for known_pin in pins:
            if known_pin.casefold() == pin.casefold():
                return Pin(use.name, known_pin)
        if not pins:
            raise node.wrong(f"device {use.device.kind} has no {way} pins")
        raise node.unknown(f"{way} pin of {use.name}", pin, pins)

    def _pins(self, *, outputs: bool) -> list[str]:
        return [
            f"{use.name}.{pin}"
            for use in self.devices.values()
            for pin in (use.device.outputs if outputs else use.device.inputs)
        ]
