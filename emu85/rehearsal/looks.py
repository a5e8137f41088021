"""How the board stands now, worded as the lines of a rehearsal word it.

What a rehearsal expects and what a recording writes down are the same texts, so both
come from here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from emu85.bus.cycles import STATES, Cycle
from emu85.machine import Machine
from emu85.rehearsal.kinds import value_text

ALL = ("A", "F", "BC", "DE", "HL", "SP", "PC")
"""Names that together tell every register."""
_AFTER_LF = re.compile(rb"(?<=\n)")
_ROW = 16
"""Bytes of memory in one text."""


def value_of(machine: Machine, name: str) -> int:
    """A register, pair or flag by its name."""
    return int(getattr(machine.registers, name.casefold()))


def registers(machine: Machine, names: Iterable[str] = ALL) -> str:
    """``A 3E F 44 BC 0000``: registers, pairs or flags with their values."""
    return " ".join(value_text(name, value_of(machine, name)) for name in names)


def _four_digits(address: int) -> str:
    return f"{address:04X}"


def _two_digits(port: int) -> str:
    return f"{port:02X}"


def bus(
    machine: Machine,
    address: Callable[[int], str] = _four_digits,
    port: Callable[[int], str] = _two_digits,
) -> str:
    """The last machine cycle as the condition of a stop says it: ``MW at 8004 data 1B``.

    Args:
        machine: looked at.
        address: writes an address of memory.
        port: writes the number of a port.
    """
    if not len(machine.trace):
        return "no machine cycle since power-on"
    record = machine.trace[-1]
    cycle, place = Cycle(int(record["type"])), int(record["address"])
    if cycle in STATES:
        return cycle.name
    at = port(place & 0xFF) if cycle in (Cycle.IOR, Cycle.IOW) else address(place)
    moved = "" if cycle is Cycle.BI else f" data {int(record['data']):02X}"
    return f"{cycle.name} at {at}{moved}"


def memory(machine: Machine, low: int, high: int) -> Iterator[tuple[int, bytes]]:
    """Bytes of memory, sixteen at a time at most, each row with its address."""
    for address in range(low, high + 1, _ROW):
        yield address, machine.memory[address : min(address + _ROW, high + 1)]


def hexadecimal(data: bytes) -> str:
    """Bytes as they are written in a rehearsal."""
    return data.hex(" ").upper()


def findings(machine: Machine) -> list[str]:
    """Each finding, what and where, without how often."""
    return [one.text for one in (*machine.findings, *machine.findings.noted)]


def span(t_states: int, clock_hz: float) -> str:
    """A length of board time, in T-states and in a handy unit."""
    seconds = t_states / clock_hz
    for unit, length in (("s", 1.0), ("ms", 1e-3)):
        if seconds >= length:
            return f"{t_states} T ({seconds / length:.4g} {unit})"
    return f"{t_states} T ({seconds * 1e6:.4g} us)"


def moment(machine: Machine) -> str:
    """The T-state at which the machine rests."""
    return f"T-state {machine.t}"


def lines_of(data: bytes) -> list[bytes]:
    """What a serial end has received, cut behind each line feed."""
    return [piece for piece in _AFTER_LF.split(data) if piece]
