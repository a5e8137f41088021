"""Where control goes, and whether there is code."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from emu85.burn.checks.kinds import Check
from emu85.burn.flow import Hop, Kind
from emu85.burn.ground import Stands
from emu85.burn.moves import MOVES, Way
from emu85.burn.study import Study
from emu85.burn.vectors import RESTARTS, Comes, jammed, vectors
from emu85.burn.verdict import Note
from emu85.bus.lines import NAMES
from emu85.cpu.layout import FindingKind
from emu85.isa import INSTRUCTIONS
from emu85.isa.operations import PAIRS

_VERBS = {
    Way.ON: "goes on",
    Way.JUMP: "jumps",
    Way.CALL: "calls",
    Way.RESTART: "restarts",
    Way.RETURN: "returns",
    Way.INDIRECT: "jumps by HL",
    Way.HALT: "goes on after the halt",
}


def _reset(study: Study) -> Iterator[Note]:
    if not study.ground.is_held(0):
        yield Note("the image leaves the reset vector blank", 0)


def _restarts(study: Study) -> Iterator[Note]:
    """Vectors that something uses and that hold nothing."""
    ground, survey = study.ground, study.survey
    for vector in vectors():
        if ground.is_held(vector.address) or vector.address == 0:
            continue
        how = survey.entered.get(vector.address)
        if how is not None and vector.line is not None:
            is_sure = how is Comes.YES
            cause = "can come" if is_sure else "may come"
            text = f"{NAMES[vector.line]} {cause}, but its vector is blank"
            yield Note(text, vector.address, is_sure)
    for hop, sure in survey.facts.outside.items():
        if hop.way is Way.RESTART:
            name = next((n for n, at in RESTARTS.items() if at == hop.target), "a restart")
            yield Note(f"{name} is used, but {hop.target:04X} is blank", hop.source, sure)


def _acknowledge(study: Study) -> Iterator[Note]:
    found = jammed(study.ground)
    if found is None or not study.survey.flow.enables:
        return
    given = INSTRUCTIONS[found.opcode].text()
    if found.target is None:
        yield Note(f"INTR can come, and {found.source} gives {given}, no restart", None, False)
    elif not study.ground.is_held(found.target):
        at = found.target
        if MOVES[found.opcode].way is Way.CALL:
            given = f"CALL {at:04X}"
        what = study.ground.at(at)
        where = "is blank" if what is Stands.BLANK else f"is {what.value}"
        yield Note(f"INTR can come, {found.source} gives {given}, and {at:04X} {where}", at)


def _hops(study: Study) -> Iterator[tuple[Hop, bool]]:
    """Hops to where the image has no byte, restarts and vectors left out."""
    for hop, sure in study.survey.facts.outside.items():
        is_vector = hop.source is None and hop.root is not Kind.NAMED
        if hop.way is not Way.RESTART and not is_vector:
            yield hop, sure


def _told(study: Study, hop: Hop, sure: bool, what: str) -> Note:
    if hop.source is None:
        return Note(f"an entry point that the user names is {what}", hop.target, sure)
    return Note(f"{_VERBS[hop.way]} to {hop.target:04X}, {what}", hop.source, sure)


def _nowhere(study: Study) -> Iterator[Note]:
    for hop, sure in _hops(study):
        stands = study.ground.at(hop.target)
        if stands in (Stands.NOTHING, Stands.DEVICE, Stands.SEVERAL):
            yield _told(study, hop, sure, f"where the board has {stands.value}")


def _blank(study: Study) -> Iterator[Note]:
    for hop, sure in _hops(study):
        if study.ground.at(hop.target) is Stands.BLANK:
            yield _told(study, hop, sure, "where the EPROM is left blank")


def _ram(study: Study) -> Iterator[Note]:
    for hop, sure in _hops(study):
        if study.ground.at(hop.target) is Stands.RAM:
            told = _told(study, hop, sure, "RAM that the board does not allow code in")
            yield replace(told, is_meant=_is_expected(study, hop.target))


def _is_expected(study: Study, address: int) -> bool:
    """Whether the run has gone to an address in RAM, and its driver expects that."""
    ride = study.ride
    found = () if ride is None else ride.findings
    return ride is not None and any(
        one.kind is FindingKind.NOT_CODE and one.address == address and one.text in ride.expected
        for one in found
    )


def _past_the_end(study: Study) -> Iterator[Note]:
    """Code that goes on where the byte of another place answers: most likely a mirror."""
    ground, starts = study.ground, study.survey.facts.starts
    for at, sure in sorted(starts.items()):
        one = INSTRUCTIONS[ground.bytes[at]]
        goes_on = MOVES[one.opcode].goes_on and (at + one.length & 0xFFFF) in starts
        for offset in range(1, one.length + goes_on):
            before, target = at + offset - 1 & 0xFFFF, at + offset & 0xFFFF
            if ground.home[target] not in (target, ground.home[before] + 1):
                told = f"goes on past the end of {ground.name(before)}, to {target:04X}"
                yield Note(f"{told}, which is {ground.home[target]:04X} once more", at, sure)
                break


def _inside(study: Study) -> Iterator[Note]:
    """Two instructions that share bytes, both surely code."""
    likely = study.survey.likely
    starts = sorted(at for at, sure in study.survey.facts.starts.items() if sure or at in likely)
    home = study.ground.home  # a mirror is the same byte
    beginning = {int(home[at]): at for at in starts}
    for outer in starts:
        length = INSTRUCTIONS[study.ground.bytes[outer]].length
        for offset in range(1, length):
            inner = beginning.get(int(home[outer + offset & 0xFFFF]))
            if inner is not None and not _goes_on_from(study, inner, outer):
                yield _overlap(study, outer, inner)


def _goes_on_from(study: Study, inner: int, outer: int) -> bool:
    """Whether an instruction follows one inside the same other, which is told already."""
    hop = study.survey.facts.hops.get(inner)
    return hop is not None and hop.way is Way.ON and (hop.source or 0) > outer


def _overlap(study: Study, outer: int, inner: int) -> Note:
    hops = study.survey.facts.hops
    hop = hops.get(inner)
    if hop is None or hop.way is Way.ON:
        hop, inner, outer = hops.get(outer), outer, inner
    by = f", from {hop.source:04X}" if hop is not None and hop.source is not None else ""
    told = f"an instruction at {inner:04X} and one at {outer:04X} share bytes{by}"
    reached = study.survey.facts.starts
    return Note(told, inner, reached[inner] and reached[outer])


def _opcodes(study: Study) -> Iterator[Note]:
    executed = study.ride.execution.fetches if study.ride else None
    for at in sorted(study.survey.facts.starts):
        one = INSTRUCTIONS[study.ground.bytes[at]]
        is_code = study.survey.facts.starts[at] or at in study.survey.likely
        if not one.specified and (is_code or (executed is not None and executed[at] > 0)):
            yield Note(
                f"{one.mnemonic} (opcode {one.opcode:02X}) is not in Intel's manuals", at, False
            )


def _returns(study: Study) -> Iterator[Note]:
    facts = study.survey.facts
    for at, sure in facts.lost.items():
        yield Note("returns to what PUSH PSW has left on the stack", at, sure)
    for at, sp in facts.stray.items():
        is_sure = sp is None or not _could_hold_a_word(study, sp)
        yield Note("returns, but nothing has been called or pushed", at, is_sure)

    for at, met in facts.uneven.items():
        text = f"returns, but on one way to {met:04X} more is left on the stack than on another"
        yield Note(text, at, False)
    for at in sorted(facts.to_reset):
        yield Note("returns to 0000, which was on the stack in place of an address", at, False)
    for at, (register, kind) in facts.astray.items():
        if register is None:
            yield Note("returns on a condition to what was pushed, not to the caller", at, False)
        else:
            is_sure = kind is Kind.INTERRUPT and study.survey.facts.starts[at]
            name = PAIRS.get(register, register.name)
            text = f"returns to what {name} held before: it was pushed and not popped"
            yield Note(text, at, is_sure)


def _could_hold_a_word(study: Study, sp: int) -> bool:
    """Whether a word put there before by a store is a fair guess."""
    words = (sp, sp + 1 & 0xFFFF)
    return all(study.ground.writes(at) and study.ground.is_stack(at) for at in words)


CHECKS = (
    Check("reset", "the reset vector holds code", _reset),
    Check("restarts", "every restart that may come has a vector", _restarts),
    Check("acknowledge", "an INTR acknowledge finds an instruction", _acknowledge),
    Check("nowhere", "control stays where there is memory", _nowhere),
    Check("past-end", "code does not run past its chip's end into a mirror", _past_the_end),
    Check("blank", "control does not run into blank EPROM", _blank),
    Check("code-in-ram", "control goes to RAM only where code may be", _ram),
    Check("overlap", "no jump goes into the middle of another instruction", _inside),
    Check("opcodes", "only opcodes of Intel's manuals are used", _opcodes),
    Check("returns", "returns have a return address to take", _returns),
)
