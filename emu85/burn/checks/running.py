"""What the run on the board has shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from emu85.burn.checks.kinds import Check, NotMadeError
from emu85.burn.ride import Ride
from emu85.burn.study import Study
from emu85.burn.verdict import Note
from emu85.bus.findings import DESCRIPTIONS, Finding
from emu85.cpu.layout import FindingKind
from emu85.wording import counted

_MOST = 20
"""Instructions told of one by one: a program that has run away may be any number of them."""

_NAMES: dict[FindingKind, tuple[str, str]] = {
    FindingKind.FLOATING_READ: ("run-floating", "a chip answers every read"),
    FindingKind.CONTENTION: ("run-contention", "one chip alone answers every read"),
    FindingKind.ROM_WRITE: ("run-rom-writes", "nothing is written to ROM"),
    FindingKind.LOST_WRITE: ("run-lost-writes", "a chip takes every write"),
    FindingKind.UNWRITTEN_READ: ("run-unwritten", "RAM is written before it is read"),
    FindingKind.NOT_CODE: ("run-code", "nothing is executed but code"),
    FindingKind.STACK: ("run-stack", "the stack stays in its region"),
}


def _ride(study: Study) -> Ride:
    if study.ride is None:
        raise NotMadeError("there was no run")
    return study.ride


def _found(study: Study, kind: FindingKind) -> Iterator[Note]:
    """Findings of a kind, those of one instruction together."""
    ride = _ride(study)
    by_pc: dict[tuple[int, bool], list[Finding]] = {}
    for one in ride.findings:
        if one.kind is kind:
            by_pc.setdefault((one.pc, one.text in ride.expected), []).append(one)
    told = 0
    for (pc, is_meant), several in by_pc.items():
        told += not is_meant
        if told > _MOST and not is_meant:
            continue
        if kind is FindingKind.UNWRITTEN_READ and _is_kept(study, several):
            yield Note(f"{_text(several)}; its battery was new", pc, False, is_meant)
        elif kind is FindingKind.UNWRITTEN_READ and _is_probe(ride, several):
            text = f"{_text(several)}; each is written then, as a test of RAM does"
            yield Note(text, pc, False, is_meant)
        else:
            yield Note(_text(several), pc, is_meant=is_meant)
    if told > _MOST:
        yield Note(f"the same by {told - _MOST} more instructions")


def _is_kept(study: Study, several: Sequence[Finding]) -> bool:
    """Whether a battery keeps what is read, so that a program may ask for it."""
    board = study.ground.board.description
    kept = {use.name for use in board.memory if use.battery}
    return all(study.ground.name(one.address) in kept for one in several)


def _is_probe(ride: Ride, several: Sequence[Finding]) -> bool:
    """Whether reads of one instruction try the RAM out: several bytes, written at once."""
    return len(several) > 1 and all(ride.probes.written[one.address] for one in several)


def _text(several: Sequence[Finding]) -> str:
    one = several[0]
    at = f"port {one.address:02X}" if one.is_port else f"{one.address:04X}"
    more = f" and {len(several) - 1} more" if len(several) > 1 else ""
    times = counted(sum(each.times for each in several), "time")
    return f"{DESCRIPTIONS[one.kind]}: {at}{more}, {times}, first at T-state {one.first_t}"


def _wires(study: Study) -> Iterator[Note]:
    for one in _ride(study).noted:
        times = counted(one.times, "time")
        text = f"{one.description}: {one.where}, {times}, first at T-state {one.first_t}"
        yield Note(text, is_meant=one.text in _ride(study).expected)


def _serial(study: Study) -> Iterator[Note]:
    for text in _ride(study).serial:
        yield Note(text)


def _goes_on(study: Study) -> Iterator[Note]:
    at = _ride(study).stuck_at
    if at is not None:
        yield Note("the CPU has halted, and no interrupt that is let in can wake it", at, False)


def _as_driven(study: Study) -> Iterator[Note]:
    for failure in _ride(study).failures:
        yield Note(failure)


def _coverage(study: Study) -> Iterator[Note]:
    wanted = study.wanted.limits.coverage
    if wanted is None:
        raise NotMadeError("no coverage is asked for")
    covered = _ride(study).execution.covered
    code = study.survey.covered | study.survey.seen
    executed = sum(1 for at in code if covered[at])
    share = 100 * executed / max(1, len(code))
    if share < wanted:
        yield Note(
            f"{executed} of {counted(len(code), 'byte')} of code were executed, {share:.1f} %, "
            f"but {float(wanted):g} % are asked for"
        )


def _wait(study: Study) -> Iterator[Note]:
    most = study.wanted.limits.wait
    if most is None:
        raise NotMadeError("no longest wait is given")
    for row in _ride(study).latencies:
        if row.worst is not None and row.worst > most:
            text = f"{row.line} waited {row.worst} T-states, but {most} is the longest allowed"
            yield Note(text, row.interrupted)
        if row.longest_lost > most:
            yield Note(
                f"{row.line} asked for {row.longest_lost} T-states and was not served, but "
                f"{most} is the longest allowed"
            )
        if row.pending > most:
            masked = " and is masked" if row.masked else ""
            text = f"{row.line} has asked for {row.pending} T-states as the run ends{masked}"
            yield Note(f"{text}; {most} is the longest allowed", None, not row.masked)


def _room(study: Study) -> Iterator[Note]:
    least = study.wanted.limits.left
    if least is None:
        raise NotMadeError("no room to be left is given")
    for region in _ride(study).stacks:
        if region.left < least:
            yield Note(
                f"the stack in {region.low:04X}-{region.high:04X} went down to "
                f"{region.deepest:04X}: {counted(region.left, 'byte')} left, {least} asked for",
                region.deepest,
            )


def _finding_check(kind: FindingKind) -> Check:
    name, about = _NAMES[kind]
    find: Callable[[Study], Iterator[Note]] = partial(_found, kind=kind)
    return Check(name, about, find)


CHECKS = (
    *(_finding_check(kind) for kind in FindingKind),
    Check("run-wires", "nothing is wrong on a wire", _wires),
    Check("run-serial", "what is sent arrives as it should", _serial),
    Check("run-goes-on", "the CPU does not halt for good", _goes_on),
    Check("run-as-expected", "the run goes as its driver expects", _as_driven),
    Check("run-coverage", "as much of the code is executed as asked for", _coverage),
    Check("run-wait", "no interrupt waits longer than allowed", _wait),
    Check("run-stack-left", "as much of the stack is left as asked for", _room),
)
