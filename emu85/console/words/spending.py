"""Where the time goes"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.errors import UserError
from emu85.firmware import Image, Segment, atomic_write

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.machine import Machine
    from emu85.profile.lines import CountedLine
    from emu85.profile.report import Report
    from emu85.profile.watch import Figures, Watch

_CODE_COUNT = 12
_LONGEST = 3
"""Bytes of an instruction."""


@form("spent", "T-states by routine since 'spent begin'")
def spent(session: Session) -> None:
    """A routine is what a CALL, RST or interrupt leads to; 'with callees' leaves out the
    interrupts that came meanwhile. In the past the figures stay those up to the newest
    moment; on another way from there they begin anew."""
    from emu85.profile import text

    found = _report(session)
    _show(session, text.head(found), text.routines(found), text.waiting(found))


@form("spent begin", "count from here on where the time goes")
def spent_begin(session: Session) -> None:
    """Once more, and the counting begins anew."""
    from emu85.profile.watch import Watch

    watch = _watch(session.machine)
    if watch is not None:
        watch.close()
    Watch(session.machine, session.history)
    session.screen.show(f"Counting from T {session.machine.t} on; 'spent' shows it.")


@form("spent end", "count no longer")
def spent_end(session: Session) -> None:
    _counting(session.machine).close()
    session.screen.show("No longer counted, and the figures are gone.")


@form("spent calls", "least, mean and most T-states of a call")
def spent_calls(session: Session) -> None:
    """Calls that are over. Those that ended without their RET, by the stack loaded anew or
    a return address thrown away, are told beside them."""
    from emu85.profile import text

    _show(session, text.each_call(_report(session)))


@form("spent labels", "T-states from each label to the next")
def spent_labels(session: Session) -> None:
    from emu85.profile import text

    _show(session, text.labels(_report(session)))


@form("spent ports", "I/O cycles by port, and their T-states")
def spent_ports(session: Session) -> None:
    from emu85.profile import text

    _show(session, text.ports(_report(session)))


@form("spent interrupts", "T-states of services, and their latency")
def spent_interrupts(session: Session) -> None:
    from emu85.profile import text

    _show(session, text.interrupts(_report(session)))


@form("spent code [ADDRESS] [COUNT]", "instructions: how often, how long")
def spent_code(session: Session, address: int | None = None, count: int = _CODE_COUNT) -> None:
    from emu85.profile.lines import line_text

    machine = session.machine
    start = machine.registers.instruction_at if address is None else address
    end = min(0x10000, start + _LONGEST * (count + 1))
    lines = _code(machine, _counting(machine).figures(), ((start, end),))
    for line in islice(lines, count):
        session.screen.show(line_text(line))


@form("spent to FILE", "all of it as .html, .json or .txt")
def spent_to(session: Session, file: Path) -> None:
    """A file that is there is replaced as a whole or not at all."""
    from emu85.profile.data import write_json
    from emu85.profile.page import write_page
    from emu85.profile.text import write_text

    suffix = file.suffix.casefold()
    if suffix not in (".html", ".json", ".txt"):
        with unfit("file"):
            raise UserError(
                f"{file.name!r} does not say what to write",
                expected="a name that ends in .html, .json or .txt",
            )
    machine = session.machine
    figures = _counting(machine).figures()
    lines = list(_code(machine, figures, _executed_runs(machine, figures)))
    found = _report(session, figures, lines)
    if suffix == ".html":
        atomic_write(file, write_page(found, lines))
    else:
        atomic_write(file, write_json(found) if suffix == ".json" else write_text(found, None))
    session.screen.show(f"{file.name}: {found.t_states} T-states")


def _report(
    session: Session, figures: Figures | None = None, lines: Iterable[CountedLine] = ()
) -> Report:
    from emu85.profile.lines import coverage
    from emu85.profile.report import report

    machine = session.machine
    own = session.burnt.file if session.burnt else machine.board.firmware
    return report(
        machine,
        figures or _counting(machine).figures(),
        firmware=own.name if own else "",
        covered=coverage(lines),
    )


def _counting(machine: Machine) -> Watch:
    watch = _watch(machine)
    if watch is None:
        raise UserError("nothing is counted", expected="'spent begin' first")
    return watch


def _watch(machine: Machine) -> Watch | None:
    from emu85.profile.watch import Watch

    return next((one for one in machine.companions if isinstance(one, Watch)), None)


def _executed_runs(machine: Machine, figures: Figures) -> list[tuple[int, int]]:
    """Where the firmware has bytes and something was executed."""
    fetches = figures.execution.fetches
    return [(start, end) for start, end in machine.runs if np.any(fetches[start:end])]


def _code(
    machine: Machine, figures: Figures, runs: Iterable[tuple[int, int]]
) -> Iterable[CountedLine]:
    from emu85.profile.lines import counted_code

    segments = tuple(Segment(start, machine.memory[start:end]) for start, end in runs)
    return counted_code(Image(segments), figures.execution, machine.symbols)


def _show(session: Session, *parts: list[str]) -> None:
    lines = [line for part in parts for line in ["", *part] if part]
    for line in lines[1:] or ["Nothing of that kind yet."]:
        session.screen.show(line)
