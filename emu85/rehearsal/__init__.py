"""Rehearsals: files of console lines and expectations, performed on a board and judged.

    from emu85.rehearsal import rehearse

    verdict = rehearse("firmware_examples/saltmarsh.rehearsal")
    assert verdict.passed, verdict.differences

All of it is board time, so a verdict is the same on any machine.  How such a file is
written stands in :mod:`emu85.rehearsal.script` and :mod:`emu85.rehearsal.lines`;
``emu85 rehearse --lines`` prints it.
"""

from __future__ import annotations

from pathlib import Path

from emu85.firmware import Image
from emu85.machine import Machine
from emu85.rehearsal.check import check
from emu85.rehearsal.performance import Performance
from emu85.rehearsal.script import SUFFIX, Script, read_script
from emu85.rehearsal.stage import set_up
from emu85.rehearsal.verdict import Difference, Step, Verdict

__all__ = [
    "SUFFIX",
    "Difference",
    "Script",
    "Step",
    "Verdict",
    "perform",
    "read_script",
    "rehearse",
    "set_up",
]


def rehearse(path: str | Path, *, firmware: str | Path | Image | None = None) -> Verdict:
    """Read a rehearsal and perform it on a board of its own.

    Args:
        path: the rehearsal's file.
        firmware: what is burnt instead of the firmware that the rehearsal names.

    Raises:
        UserError: a file that cannot be read, or a mistake in one.  Whatever goes wrong
            once the board runs is a difference.
    """
    script = read_script(Path(path))
    return perform(script, set_up(script, firmware))


def perform(script: Script, machine: Machine) -> Verdict:
    """Perform a rehearsal on a machine, as :func:`set_up` gives it, and judge it.

    The machine can be looked into afterwards: its trace, its findings.

    Raises:
        UserError: a mistake in the rehearsal.
    """
    performance = Performance(script, machine)
    check(script, performance.context)
    steps = tuple(performance.steps())
    return Verdict(
        script.path,
        script.title,
        steps,
        len(script.lines),
        performance.seconds,
        frozenset(performance.expected_findings),
    )
