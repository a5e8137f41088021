"""How a machine stands, as a section of a failed test's report."""

from __future__ import annotations

from functools import partial

from emu85.console.views import bus, registers
from emu85.console.views.code import begun
from emu85.machine import Machine
from emu85.rehearsal import looks
from emu85.wording import counted

_WIDTH = 80
_MOST_FINDINGS = 8


def section(machine: Machine, count: int) -> tuple[str, str]:
    """Heading and text: the last ``count`` machine cycles, registers, what the board noticed."""
    lines = [*_cycles(machine, count), *registers.registers(machine), *_findings(machine)]
    return f"board {machine.board.name}, T-state {machine.t}", "\n".join(lines)


def _cycles(machine: Machine, count: int) -> list[str]:
    records = machine.trace.last(count)
    if not len(records):
        return []
    before = machine.trace.total - len(records)
    more = [f"{'…':>10} {counted(before, 'machine cycle')} before"] if before else []
    return [
        *bus.header(_WIDTH),
        *more,
        *bus.rows(records, _WIDTH, partial(begun, machine)),
    ]


def _findings(machine: Machine) -> list[str]:
    found = looks.findings(machine)
    more = [f"and {len(found) - _MOST_FINDINGS} more"] if len(found) > _MOST_FINDINGS else []
    return [f"  finding  {one}" for one in [*found[:_MOST_FINDINGS], *more]]
