"""The image run on its board, and what was seen meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from emu85.board.serial_faults import OVERRUN
from emu85.burn.depth import Depth, StackRegion
from emu85.burn.drive import Drive
from emu85.burn.probes import Probes
from emu85.burn.served import Served
from emu85.bus.findings import BoardFinding, Finding
from emu85.halts import is_halted_for_good
from emu85.machine import Machine
from emu85.profile import Execution, Gathering
from emu85.profile.latency import Latencies, Latency
from emu85.wording import counted


@dataclass(frozen=True, slots=True)
class Ride:
    """What a run has shown.

    Attributes:
        about: what was done.
        failures: what the drive did not find as expected.
        expected: findings that the drive expects, by their ``text``.
        t_states: board time.
        execution: counts of what was executed.
        findings, noted: what the board noticed, on serial ends excepted.
        probes: which reads of RAM came before a write there.
        serial: what was wrong with what serial ends received, a sentence each.
        stacks: how deep each stack went.
        latencies: how long interrupts waited, a row an input.
        served: where routines begin that an acknowledged INTR has led to.
        stuck_at: the HLT at which the CPU stays for ever, or None.
        complete: False if part of the run was not seen.
    """

    about: str
    failures: Sequence[str]
    expected: Collection[str]
    t_states: int
    execution: Execution
    findings: Sequence[Finding]
    noted: Sequence[BoardFinding]
    probes: Probes
    serial: Sequence[str]
    stacks: Sequence[StackRegion]
    latencies: Sequence[Latency]
    served: Collection[int]
    stuck_at: int | None
    complete: bool


def ride(machine: Machine, drive: Drive) -> Ride:
    """Have a machine at power-on, with the image burnt in, driven and watched."""
    execution, depth, latencies, probes = Execution(), Depth(), Latencies(), Probes()
    served = Served()
    with Gathering(machine, execution, depth, latencies, probes, served) as gathering:
        driven = drive(machine)
    execution.finish(machine.t)
    latencies.finish(machine.t)
    probes.finish()
    return Ride(
        driven.about,
        driven.failures,
        driven.expected,
        machine.t,
        execution,
        list(machine.findings),
        [one for one in machine.findings.noted if one.where not in machine.board.serial_ends],
        probes,
        list(_serial(machine)),
        depth.regions(machine.board),
        latencies.rows(),
        served.addresses,
        _stuck_at(machine),
        gathering.complete,
    )


def _serial(machine: Machine) -> Iterator[str]:
    for name, end in machine.board.serial_ends.items():
        faults = {
            "framing error": end.framing_errors,
            "parity error": end.parity_errors,
            "break": end.breaks,
        }
        told = [counted(number, fault) for fault, number in faults.items() if number]
        if told:
            yield f"the serial end {name} received {', '.join(told)}"
        if end.baud_check.notice is not None:
            yield str(end.baud_check.notice)
    for one in machine.findings.noted:
        if one.description == OVERRUN:
            yield f"{one.description}: {one.where}, {counted(one.times, 'time')}"


def _stuck_at(machine: Machine) -> int | None:
    return machine.registers.instruction_at if is_halted_for_good(machine) else None
