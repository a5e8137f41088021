"""From board text to a checked description; every mistake is told with its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from emu85.board import kinds, schema
from emu85.board.decode import selects
from emu85.board.description import (
    BoardDescription,
    ChipUse,
    DeviceUse,
    Select,
    SerialFormat,
    Times,
    Wire,
)
from emu85.board.device import Device
from emu85.board.kinds import Key, Values, read_table
from emu85.board.nodes import Entries, Node, Table, compose
from emu85.board.parts import Part
from emu85.board.registry import devices, nearest_device
from emu85.board.shelf import find_board
from emu85.board.wires import read_wires
from emu85.errors import Mistakes, Place, UserError

MEMORY_SPACE = 0x10000
IO_SPACE = 0x100
MOST_ENTRIES = 256
FEWEST_T_IN_BIT = 4
"""No instruction is shorter, so no firmware could make or see a shorter bit."""


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
        UserError: a mistake in it; several are told together, but wires are looked
            at only when the devices they join are in order.
    """
    root = compose(text, file)
    mistakes = Mistakes()
    with mistakes.noted():
        values = read_table(root, schema.BOARD, "a board")
    if not isinstance(root, Table):
        raise mistakes.found[0]
    nodes = Values(root, {})  # where things stand, whatever is wrong with the board's own keys
    chips, used, whole = _parts(nodes, mistakes)
    own: Values | None = None
    with mistakes.noted():
        if nodes.given("serial"):
            own = read_table(nodes.node("serial"), schema.SERIAL, "serial")
    delays: Times = {}
    with mistakes.noted():
        delays = _stated(nodes, "delays", schema.DELAYS)
    wires: tuple[Wire, ...] = ()
    with mistakes.noted():
        if whole:
            wires = read_wires(nodes, used, nodes.given("serial"))
    mistakes.tell()
    if not chips:
        raise values.node("memory").wrong("the board has no memory", expected="a chip in memory")
    firmware = values["firmware"]
    return BoardDescription(
        file=file,
        name=values["name"],
        about=values["about"],
        crystal=values["crystal"],
        pull_ups=values["pull-ups"],
        fill=values["fill"],
        stack=tuple((low, low if high is None else high) for low, high in values["stack"]),
        memory=tuple(chips),
        devices=tuple(used),
        wires=wires,
        serial=_serial(own, values["crystal"] / 2) if own else None,
        firmware=Path(firmware) if firmware else None,
        firmware_node=values.node("firmware") if firmware else None,
        cpu=values["cpu"],
        delays=delays,
    )


def _stated(values: Values, section: str, keys: tuple[Key, ...]) -> Times:
    """The times that a section of an entry or of the board states, by key."""
    if not values.given(section):
        return {}
    own = read_table(values.node(section), keys, section)
    return {key.name: own[key.name] for key in keys if own.given(key.name)}


def _times(values: Values, kind: str) -> Times:
    """The times of a memory chip."""
    times = _stated(values, "times", schema.TIMES)
    table = values.node("times")
    assert isinstance(table, Table)
    for key in schema.ROM_REFUSES:
        if kind == "rom" and key.name in times:
            raise table.keys[key.name].wrong(f"{key.name!r} is for RAM and this is ROM")
    return times


def _parts(board: Values, mistakes: Mistakes) -> tuple[list[ChipUse], list[DeviceUse], bool]:
    """The chips and devices of the board's lists; what is wrong with one hides no other.

    The third value says whether all devices are there.
    """
    names = _Names()
    before = len(mistakes.found)
    nodes: dict[str, tuple[Node, ...]] = {}
    for key in ("memory", "ports", "wired"):
        nodes[key] = ()
        with mistakes.noted():
            nodes[key] = _entries(board, key)
    whole = len(mistakes.found) == before
    chips: list[ChipUse] = []
    for node in nodes["memory"]:
        if not _is_device(node):
            with mistakes.noted():
                chips.append(_chip(node, names))
    entries: list[tuple[Node, tuple[Key, ...]]] = [
        (node, schema.MEMORY_DEVICE) for node in nodes["memory"] if _is_device(node)
    ]
    entries += [(node, schema.PORT) for node in nodes["ports"]]
    entries += [(node, schema.WIRED) for node in nodes["wired"]]
    used: list[DeviceUse] = []
    for node, keys in entries:
        with mistakes.noted():
            used.append(_device(node, names, keys))
    whole = whole and len(used) == len(entries)
    for use in used:
        if use.device.memory_part:
            with mistakes.noted():
                chips.append(_own_memory(use, names))
    if whole:
        for use in used:
            with mistakes.noted():
                _check_ports_named(use, used)
    return chips, used, whole


def _check_ports_named(use: DeviceUse, used: Sequence[DeviceUse]) -> None:
    """Refuse an option that names a port where no other device is."""
    selects_at = [
        each.select
        for each in used
        if each is not use and each.select and each.select.space == IO_SPACE
    ]
    for key in use.device.options:
        port = use.options[key.name]
        if key.kind is not kinds.DEVICE_PORT or port is None:
            continue
        if not any(selects(select, port) for select in selects_at):
            raise _option_node(use.node, key.name).wrong(
                f"no other device is at port {port:02X}", expected=_ports_taken(used, use)
            )


def _option_node(entry: Node, option: str) -> Node:
    return entry.values[option] if isinstance(entry, Table) else entry


def _ports_taken(used: Sequence[DeviceUse], but: DeviceUse) -> str:
    """Where the other devices with ports are, for messages."""
    spans = sorted(
        (use.select.low, use.select.high, use.name)
        for use in used
        if use is not but and use.select and use.select.space == IO_SPACE
    )
    shown = [
        f"{low:02X}{f'-{high:02X}' if high > low else ''} ({name})" for low, high, name in spans
    ]
    return "a port of another device: " + (", ".join(shown) or "there is none yet")


@dataclass
class _Names:
    """Names already taken, so that each is used once."""

    taken: dict[str, str] = field(default_factory=dict)

    def take(self, values: Values, default: str) -> str:
        name: str | None = values["name"]
        if name is None:
            return self.free(default)
        if name.casefold() in self.taken:
            raise values.node("name").wrong(
                f"the name {name!r} is used twice", expected="a name of its own for each"
            )
        self.taken[name.casefold()] = name
        return name

    def free(self, default: str) -> str:
        """A name like ``default`` that is not taken, and is now."""
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
    mistakes = Mistakes()
    for key, kind in (("code", "ram"), ("battery", "ram"), ("image", "rom")):
        with mistakes.noted():
            if values.given(key) and part.kind != kind:
                raise values.table.keys[key].wrong(
                    f"{key!r} is for {kind.upper()} and this is {part.kind.upper()}"
                )
    with mistakes.noted():
        name = names.take(values, part.number)
    with mistakes.noted():
        select = _select(values, part.size, MEMORY_SPACE)
    with mistakes.noted():
        times = _times(values, part.kind)
    mistakes.tell()
    return ChipUse(
        name=name,
        part=part,
        select=select,
        waits=values["waits"],
        code=values["code"],
        battery=bool(values["battery"]),
        image=values["image"],
        node=node,
        battery_file=_battery_file(values["battery"]),
        times=times,
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
        raise value.wrong(
            f"unknown device {name!r}",
            expected="one of " + ", ".join(devices()),
            near=nearest_device(name),
        )
    return devices()[name]


def _device(node: Node, names: _Names, keys: tuple[Key, ...]) -> DeviceUse:
    device = _device_class(node)
    own = device.options + schema.added(device)
    values = read_table(node, keys + own, f"device {device.kind}")
    _in_its_place(device, values, keys)
    space = IO_SPACE if keys is schema.PORT else MEMORY_SPACE
    wired = keys is schema.WIRED
    mistakes = Mistakes()
    with mistakes.noted():
        device.check(values.of(device.options), node)
    with mistakes.noted():
        name = names.take(values, device.kind)
    with mistakes.noted():
        select = None if wired else _select_registers(device, values, space)
    with mistakes.noted():
        terminal = _terminal(values)
    with mistakes.noted():
        times = {} if wired else _stated(values, "times", schema.TIMES)
    mistakes.tell()
    return DeviceUse(
        name=name,
        device=device,
        options=values.of(device.options),
        select=select,
        waits=0 if wired else values["waits"],
        node=node,
        terminal=terminal,
        times=times,
    )


def _in_its_place(device: type[Device], values: Values, keys: tuple[Key, ...]) -> None:
    wired = keys is schema.WIRED
    if device.registers and wired:
        raise values.node("device").wrong(
            f"device {device.kind} has registers", expected="it under ports or memory"
        )
    if not device.registers and not wired:
        raise values.node("device").wrong(
            f"device {device.kind} has no registers, so no address", expected="it under wired"
        )


def _own_memory(use: DeviceUse, names: _Names) -> ChipUse:
    """The memory in the package of a device."""
    part = use.device.memory_part
    assert part is not None
    values = read_table(use.node, schema.memory_of(part), use.device.kind, others=True)
    kind = part.kind.upper()
    return ChipUse(
        name=names.free(f"{use.name} {kind}"),
        part=Part(use.device.kind, part.kind, part.size, f"the {kind} of {use.name}"),
        select=_select(values, part.size, MEMORY_SPACE, "memory-"),
        waits=values["memory-waits"],
        code=part.kind == "ram" and values["code"],
        battery=part.kind == "ram" and bool(values["battery"]),
        image=values["image"] if part.kind == "rom" else None,
        node=use.node,
        battery_file=_battery_file(values["battery"]) if part.kind == "ram" else None,
        times=use.times,
    )


def _battery_file(battery: bool | Path) -> Path | None:
    return battery if isinstance(battery, Path) else None


def _terminal(values: Values) -> SerialFormat | None:
    if not values.given("terminal"):
        return None
    own = read_table(values.node("terminal"), schema.TERMINAL, "a terminal")
    bits, parity, stop = own["format"]
    handshake = own["handshake"] == "rts-cts"
    return SerialFormat(Fraction(own["baud"]), bits, parity, stop, False, own["gap"], handshake)


def _select(values: Values, size: int, space: int, prefix: str = "") -> Select:
    """Where a chip of ``size`` addresses is selected, by the keys ``at`` and ``ignores``.

    ``prefix`` is put before each.
    """
    at, ignores = f"{prefix}at", f"{prefix}ignores"
    node = values.node(at)
    low, high = values[at]
    last = low + size - 1 if high is None else high
    if last >= space:
        raise node.wrong(
            f"{size} addresses from {low:X} go beyond {space - 1:X}",
            expected=f"at most {space - size:X} here",
        )
    own = (1 << (size - 1).bit_length()) - 1
    if values[ignores] & own:
        first, top = (own + 1).bit_length() - 1, space.bit_length() - 2
        raise values.node(ignores).wrong(
            "a line that the chip itself uses cannot be ignored",
            expected=f"lines A{first} to A{top}" if first <= top else "none",
        )
    return Select(low, last, values[ignores], space)


def _select_registers(device: type[Device], values: Values, space: int) -> Select:
    """Where a device is selected: all its registers, so many times, or an even part of them.

    No decoder could select another number of addresses, since the chip looks at whole
    address lines.
    """
    size = len(device.registers)
    select = _select(values, size, space)
    length = select.high - select.low + 1
    if length % size and size % length:
        digits = 2 if space == IO_SPACE else 4
        top = min(select.low + size, space) - 1
        raise values.node("at").wrong(
            f"device {device.kind} has {size} registers, and the range {length} addresses",
            expected=f"{select.low:0{digits}X}-{top:0{digits}X}, or a multiple of that range",
        )
    return replace(select, shared=values["shared"])


def _serial(values: Values, clock: Fraction) -> SerialFormat:
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
