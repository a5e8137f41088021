"""What the code surely stores, reads, and does at ports."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.burn.checks.kinds import Check
from emu85.burn.flow import Touch
from emu85.burn.study import Study
from emu85.burn.verdict import Note
from emu85.bus.cycles import Cycle


def _touches(study: Study, kind: Cycle) -> Iterator[tuple[Touch, int, bool]]:
    """Accesses of a kind whose address is known, the stack's left out."""
    for touch, sure in study.survey.facts.touches.items():
        access = touch.access
        if access.kind is kind and not access.is_stack and access.address is not None:
            yield touch, access.address, sure


def _rom_writes(study: Study) -> Iterator[Note]:
    for touch, at, sure in _touches(study, Cycle.MW):
        if study.ground.is_rom(at):
            yield Note(
                f"stores at {at:04X}, which is ROM ({study.ground.name(at)})", touch.source, sure
            )


def _lost_writes(study: Study) -> Iterator[Note]:
    for touch, at, sure in _touches(study, Cycle.MW):
        if not study.ground.writes(at) and not study.ground.is_rom(at):
            yield Note(f"stores at {at:04X}, where {_nobody(study, at)}", touch.source, sure)


def _empty_reads(study: Study) -> Iterator[Note]:
    for touch, at, sure in _touches(study, Cycle.MR):
        if not study.ground.reads(at):
            yield Note(f"reads at {at:04X}, where {_nobody(study, at)}", touch.source, sure)


def _nobody(study: Study, at: int) -> str:
    chip = study.ground.name(at)
    return f"{chip} does not answer" if chip else "no chip is"


def _port_reads(study: Study) -> Iterator[Note]:
    for touch, number, sure in _touches(study, Cycle.IOR):
        port = study.ground.port(number)
        if not port.chip:
            yield Note(f"IN from port {number:02X}, where no chip is", touch.source, sure)
        elif not port.read:
            text = f"IN from port {number:02X}, which {port.chip} does not answer"
            yield Note(text, touch.source, False)


def _port_writes(study: Study) -> Iterator[Note]:
    for touch, number, sure in _touches(study, Cycle.IOW):
        port = study.ground.port(number)
        if not port.chip:
            yield Note(f"OUT to port {number:02X}, where no chip is", touch.source, sure)
        elif not port.written:
            text = f"OUT to port {number:02X}, which {port.chip} does not take"
            yield Note(text, touch.source, False)


def _port_clashes(study: Study) -> Iterator[Note]:
    for touch, number, sure in _touches(study, Cycle.IOR):
        port = study.ground.port(number)
        if port.several:
            yield Note(
                f"IN from port {number:02X}, where {port.chip} answer at once", touch.source, sure
            )


CHECKS = (
    Check("rom-stores", "nothing is stored into ROM", _rom_writes),
    Check("lost-stores", "nothing is stored where no chip listens", _lost_writes),
    Check("empty-reads", "nothing is read where no chip answers", _empty_reads),
    Check("port-reads", "a chip answers at every port read", _port_reads),
    Check("port-writes", "a chip listens at every port written", _port_writes),
    Check("port-clashes", "one chip alone answers at every port read", _port_clashes),
)
