"""A board as text: clock, maps, wires and devices, at most 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from emu85.board.board import Board, RegisterAt
from emu85.board.decode import Region
from emu85.board.description import (
    BoardDescription,
    DeviceUse,
    Driver,
    Gate,
    Pin,
    SerialFormat,
    Source,
    Wire,
    name_of,
)
from emu85.board.device import RTS, Read
from emu85.board.quantities import hertz_text, seconds_text, size_text
from emu85.cpu.layout import IO_BASE
from emu85.errors import UserError

WIDTH = 80


def describe(board: Board) -> str:
    """The board for people."""
    description = board.description
    parts = [
        _head(board),
        _table("Memory", board.memory_map(), 4, _notes(description)),
        _table("Ports", board.port_map(), 2, _notes(description)),
        _clashes(board),
        _registers(board),
        _wires(description),
        _loose(description),
        _terminals(board),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _clashes(board: Board) -> str:
    found = board.clashes()
    return "\n".join(["Selected together", *(f"  {line}" for line in found)]) if found else ""


def _head(board: Board) -> str:
    description = board.description
    title = f"{description.name}: {description.about}" if description.about else description.name
    serial = description.serial
    t_state = seconds_text(1 / description.clock)
    rows = [
        ("crystal", hertz_text(description.crystal)),
        ("clock", f"{hertz_text(description.clock)}, a T-state is {t_state}"),
        ("floating bus", f"reads {description.pull_ups:02X}"),
        ("RAM at power-on", str(description.fill)),
        ("stack", ", ".join(f"{low:04X}-{high:04X}" for low, high in description.stack)),
        ("serial line", _serial(serial) if serial else ""),
        ("a bit", f"{float(description.clock / serial.baud):.6g} T-states" if serial else ""),
        ("firmware", _firmware(board)),
    ]
    lines = [_hang(f"  {name:<17}", value) for name, value in rows if value]
    return "\n".join([textwrap.shorten(title, WIDTH), *lines])


def _firmware(board: Board) -> str:
    try:
        found = board.firmware
    except UserError:
        return f"{board.description.firmware} (not found)"
    return str(board.description.firmware) if found else ""


def _serial(serial: SerialFormat) -> str:
    return f"SID and SOD, {serial}, mark is {0 if serial.inverted else 1}"


def _table(title: str, regions: list[Region], digits: int, notes: dict[str, str]) -> str:
    rows = [title]
    for region in regions:
        span = f"{region.low:0{digits}X}-{region.high:0{digits}X}"
        if region.low == region.high:
            span = f"{region.low:0{digits}X}"
        waits = f"{region.waits} wait" if region.waits else ""
        head = f"  {span:<11}{waits:>8}  "
        rows.append(_hang(head, _what(region, digits, notes)))
    return "\n".join(rows)


def _what(region: Region, digits: int, notes: dict[str, str]) -> str:
    if region.kind == "gap":
        return "-- nothing answers"
    if region.kind == "overlap":
        return f"!! {region.chip}: selected together"
    if region.mirror_of is None:
        return f"{region.chip}{notes[region.chip]}"
    low, high = region.mirror_of
    again = f"{low:0{digits}X}-{high:0{digits}X}" if high > low else f"{low:0{digits}X}"
    return f"~  {region.chip}, {again} again"


def _notes(description: BoardDescription) -> dict[str, str]:
    """What is said after the name of each chip and device."""
    notes = {}
    for use in description.devices:
        notes[use.name] = "" if use.name == use.device.kind else f", device {use.device.kind}"
    for chip in description.memory:
        words = [chip.part.number, chip.part.kind.upper()]
        words = words[-1:] if words[0] == words[1] else words
        extras = [text for text, on in (("code", chip.code), ("battery", chip.battery)) if on]
        if chip.battery_file:
            extras[-1] += f" in {chip.battery_file.name}"
        size = size_text(chip.part.size)
        notes[chip.name] = ", ".join([f", {' '.join(words)} of {size}", *extras])
    return notes


def _registers(board: Board) -> str:
    rows = [_register(at) for at in board.registers()]
    return "\n".join(["Registers", *rows]) if rows else ""


def _register(at: RegisterAt) -> str:
    where = f"{at.index:04X}" if at.index < IO_BASE else f"{at.index - IO_BASE:02X}"
    ways = [
        way
        for way, on in (
            ("read", at.register.read is not Read.NONE),
            ("write", at.register.written),
        )
        if on
    ]
    head = f"  {where:<5}{'/'.join(ways):<12}"
    return _hang(head, f"{at.device.name}, {at.register.name}: {at.register.about}")


def _wires(description: BoardDescription) -> str:
    entries: dict[int, list[Wire]] = {}
    for wire in description.wires:
        entries.setdefault(id(wire.node), []).append(wire)
    rows = [_entry(wires) for wires in entries.values()]
    return "\n".join(["Lines", *rows]) if rows else ""


def _entry(wires: list[Wire]) -> str:
    """One entry of the board file: a wire, or those of a range of pins."""
    ways = ", both ways" if wires[0].both_ways else ""
    head = f"  {_ends([wire.sink for wire in wires]):<16} "
    return _hang(head, _drivers(wires) + ways)


def _drivers(wires: list[Wire]) -> str:
    gate = wires[0].gate
    between = {Gate.JOINED: " joined with ", Gate.ANY: " or ", Gate.ALL: " and "}[gate]
    places = zip(*(wire.drivers for wire in wires), strict=True)
    return between.join(_driver_of(list(drivers)) for drivers in places)


def _driver_of(drivers: list[Driver]) -> str:
    shown = _ends([driver.source for driver in drivers])
    return f"not {shown}" if drivers[0].inverted else shown


def _ends(ends: Sequence[Source]) -> str:
    first, last = ends[0], ends[-1]
    if isinstance(first, Pin) and isinstance(last, Pin) and first != last:
        return f"{first}-{last.pin}"
    return name_of(first)


def _loose(description: BoardDescription) -> str:
    rows = [
        _hang(f"  {use.name:<16} ", _loose_text(use))
        for use in description.devices
        if use.select is None
    ]
    return "\n".join(["Without an address", *rows]) if rows else ""


def _loose_text(use: DeviceUse) -> str:
    kind = "" if use.name == use.device.kind else f"device {use.device.kind}: "
    return kind + use.device.about


def _terminals(board: Board) -> str:
    rows = []
    for use in board.description.devices:
        if use.terminal and use.device.serial_pins:
            bit = f"{float(board.clock / use.terminal.baud):.6g}"
            pins = " and ".join(use.device.serial_pins)
            if use.terminal.handshake:
                pins += f", held back by {RTS}"
            text = f"at {pins}: {use.terminal}, a bit is {bit} T-states"
            rows.append(_hang(f"  {use.name:<16} ", text))
    return "\n".join(["Terminals", *rows]) if rows else ""


def _hang(head: str, text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
