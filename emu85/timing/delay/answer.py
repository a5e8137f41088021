"""A delay as a whole: solved, written, proved, and told."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from emu85.timing.delay.costs import Waits
from emu85.timing.delay.loops import USUAL, Nests
from emu85.timing.delay.proof import prove, proving_machine
from emu85.timing.delay.solver import Plan, Use, reach, solve
from emu85.timing.delay.source import write_delay
from emu85.timing.delay.told import refuse_out_of_reach, tell


class Answer(NamedTuple):
    """A delay that was run.

    Attributes:
        source: assembly, as it can be included.
        about: wanted, promised and measured, for people.
        is_kept: whether what was measured is what was promised.
    """

    source: str
    about: str
    is_kept: bool


def plan(wanted: Fraction, clock: Fraction, use: Use, waits: Waits, nests: Nests = USUAL) -> Plan:
    """Code for ``wanted`` T-states, rounded to whole ones, at a ``clock`` in hertz.

    Raises:
        UserError: it is out of reach.
    """
    refuse_out_of_reach(wanted, clock, reach(use, waits, nests))
    return solve(round(wanted), use, waits, nests)


def answer(found: Plan, wanted: Fraction, clock: Fraction, name: str = "DELAY") -> Answer:
    """Write it, run it on a machine of its own, and tell what came of it."""
    source = write_delay(found, clock, name)
    machine = proving_machine(2 * clock, found.waits)
    measured = prove(machine, source, found.use, found.t_states)
    about = tell(found, wanted, clock, measured)
    return Answer(source, about, measured == found.t_states)
