"""All that can be seen of a machine at one moment, to be compared."""

from __future__ import annotations

from typing import Any, NamedTuple

from emu85.cpu.layout import State
from emu85.machine import Machine
from tests.test_determinism import CPU_STATE


class Sight(NamedTuple):
    """A machine at rest."""

    cpu: dict[int, int]
    total: int
    trace: bytes
    store: bytes
    findings: list[Any]
    noted: list[Any]
    devices: list[str]
    ends: list[Any]
    events: list[Any]
    firmware_stops: list[Any]


def sight(machine: Machine, records: int = 200) -> Sight:
    """What stands on the trace is compared for the last ``records`` at most."""
    state = machine.registers.state
    board = machine.board
    return Sight(
        {cell: state[cell] for cell in CPU_STATE},
        machine.trace.total,
        machine.trace.last(records).tobytes(),
        board.store.tobytes(),
        list(machine.findings),
        machine.findings.noted,
        [device.state() for device in board.devices.values()],
        [
            (bytes(end.received), list(end.arrivals), end.pending, end.idle)
            for end in board.serial_ends.values()
        ],
        sorted((event.t, event.cancelled) for event in events(machine)),
        [
            (stop.number, stop.text, stop.armed, stop.hits, stop.last_t)
            for stop in machine.stops
            if stop.owner == "firmware"
        ],
    )


def events(machine: Machine) -> list[Any]:
    """What is to happen, from the schedule's own list."""
    return [event for _, _, event in machine.schedule._heap if not event.cancelled]


def at_boundary(machine: Machine) -> bool:
    """Whether the next machine cycle begins an instruction."""
    return machine.registers.state[State.ROW] == 0
