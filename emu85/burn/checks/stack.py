"""The stack pointer: loaded in time, and to where a stack can be."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.burn.checks.kinds import Check
from emu85.burn.moves import MOVES, Way
from emu85.burn.study import Study
from emu85.burn.verdict import Note
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line

_INPUTS = (Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.INTR)


def _set(study: Study) -> Iterator[Note]:
    for at, sure in sorted(study.survey.facts.unset_stack.items()):
        yield Note("uses the stack before SP has been loaded", at, sure)


def _set_before_ei(study: Study) -> Iterator[Note]:
    wired = any(study.ground.drives(line) for line in _INPUTS)
    for at, is_set in sorted(study.survey.facts.enabled.items()):
        if wired and not is_set and study.survey.facts.starts[at]:
            yield Note("enables interrupts before SP has been loaded", at)


def _in_ram(study: Study) -> Iterator[Note]:
    ground = study.ground
    for touch, sure in study.survey.facts.touches.items():
        access = touch.access
        at = access.address
        if not access.is_stack or at is None:
            continue
        if access.kind is Cycle.MR:
            if not ground.reads(at) and not _returns(study, touch.source):
                yield Note(f"pops at {at:04X}, where no chip answers", touch.source, sure)
        elif not ground.writes(at):
            where = ground.name(at) or "no chip"
            yield Note(f"pushes at {at:04X}, which is no RAM ({where})", touch.source, sure)
        elif not ground.is_stack(at):
            yield Note(f"pushes at {at:04X}, outside the board's stack", touch.source, sure)


def _returns(study: Study, address: int) -> bool:
    """A return, whose stack the check of returns looks at."""
    return MOVES[study.ground.bytes[address]].way is Way.RETURN


CHECKS = (
    Check("stack-set", "SP is loaded before the stack is used", _set),
    Check("stack-before-ei", "SP is loaded before interrupts are enabled", _set_before_ei),
    Check("stack-place", "pushes go into the stack's RAM, pops find a chip", _in_ram),
)
