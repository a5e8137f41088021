"""A burn check's report as plain data; what it looks like is said elsewhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from emu85.burn.areas import WORDS, Area, Use, areas
from emu85.burn.checks import CHECKS, Check, NotMadeError
from emu85.burn.chips import Programmed
from emu85.burn.depth import StackRegion
from emu85.burn.study import Study, Wanted
from emu85.burn.sums import SUMS
from emu85.burn.vectors import vectors
from emu85.burn.verdict import CheckDone, Note, PlacedNote, Result, result_of
from emu85.firmware import disassemble
from emu85.profile.latency import Latency
from emu85.stretches import of_addresses
from emu85.wording import counted

FIT, NOT_FIT = "fit to burn", "not fit to burn"

CAUTIONS = (
    "Programming voltage: EPROMs of one number are programmed at 25, 21 or 12.5 V, by maker "
    "and date code. The wrong voltage destroys the chip. Take it, and the programming pulse, "
    "from the data sheet of the very part, and let qualified people work on the programmer's "
    "supply.",
    "UV lamp: the light that erases is UV-C, which injures eyes and skin and cannot be felt "
    "at once. Use a closed eraser whose lid switch works, never look into the lamp, and take "
    "dose and distance from the data sheets of chip and lamp. Cover the window after burning.",
    "This report tells what was found on an emulated board. It replaces neither the verify "
    "pass of the programmer nor a check of the real board by qualified people.",
)
"""Common practice, no published source; the voltages are those of Intel's 2716 (25), 2732A (21)
and 2764A (12.5) data sheets (values from memory).  The data sheets decide."""


@dataclass(frozen=True, slots=True)
class ChipRow:
    """A chip to burn: ``sums`` by the trade's names, over every byte of the chip."""

    name: str
    part: str
    range: str
    size: int
    used: int
    sums: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class VectorRow:
    """A vector: ``holds`` is its first instruction, or that it is blank."""

    address: int
    name: str
    holds: str
    reached: str


@dataclass(frozen=True, slots=True)
class RunRow:
    """The run in figures; ``executed`` of ``code`` bytes, and where the others are."""

    about: str
    t_states: int
    records: int
    executed: int
    code: int
    missed: Sequence[Area]
    stacks: Sequence[StackRegion]
    latencies: Sequence[Latency]
    complete: bool


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that is told.

    Attributes:
        image, board, wanted_part, fill: what was examined.
        together: sums over all chips, in order of the board file, if there are several.
        unknown: places of instructions that go where nothing tells.
        unfollowed: places of CALLs after which nothing was followed.
    """

    image: str
    board: str
    wanted_part: str
    fill: int
    chips: Sequence[ChipRow]
    together: Mapping[str, str]
    areas: Sequence[Area]
    vectors: Sequence[VectorRow]
    unknown: Sequence[str]
    unfollowed: Sequence[str]
    static_bytes: int
    run_bytes: int
    run: RunRow | None
    checks: Sequence[CheckDone]

    @property
    def is_fit(self) -> bool:
        """Whether no check has found a fault that is not accepted."""
        return all(check.result is not Result.FAULT for check in self.checks)

    @property
    def wants_a_look(self) -> bool:
        """Whether some check has found what a person should judge."""
        return any(check.result is Result.LOOK for check in self.checks)

    @property
    def verdict(self) -> str:
        """In one sentence."""
        counts = {result: self.count(result) for result in Result}
        parts = []
        if counts[Result.FAULT]:
            parts.append(_checks(counts[Result.FAULT], "found a fault", "found faults"))
        if counts[Result.LOOK]:
            parts.append(_checks(counts[Result.LOOK], "wants a look", "want a look"))
        if counts[Result.ACCEPTED]:
            parts.append(_checks(counts[Result.ACCEPTED], "accepted", "accepted"))
        verdict = FIT if self.is_fit else NOT_FIT
        return f"{verdict}: {', '.join(parts)}" if parts else verdict

    @property
    def unreached(self) -> str:
        """How much of the image nobody has looked at, in one sentence; empty for nothing."""
        given = sum(area.size for area in self.areas if area.use is not Use.BLANK)
        left = self.total(Use.UNREACHED)
        if not left:
            return ""
        return f"{left} of {counted(given, 'byte')} were never reached, and not looked at"

    def count(self, result: Result) -> int:
        """How many checks came out so."""
        return sum(check.result is result for check in self.checks)

    def total(self, use: Use) -> int:
        """Bytes of one use."""
        return sum(area.size for area in self.areas if area.use is use)


def _checks(count: int, one: str, several: str) -> str:
    return f"{count} check {one}" if count == 1 else f"{count} checks {several}"


def report(study: Study) -> Report:
    """Make all checks and gather what is told."""
    ground, survey = study.ground, study.survey
    return Report(
        image=ground.image.source,
        board=ground.board.name,
        wanted_part=_wanted_parts(study.wanted),
        fill=study.wanted.fill,
        chips=[_chip(one) for one in study.burnt],
        together=_together(study),
        areas=areas(study),
        vectors=_vectors(study),
        unknown=[_place(study, at) for at in sorted(survey.facts.unknown)],
        unfollowed=[_place(study, at) for at in sorted(survey.facts.no_return)],
        static_bytes=len(survey.covered),
        run_bytes=len(survey.seen),
        run=_run(study),
        checks=[_made(check, study) for check in CHECKS],
    )


def _wanted_parts(wanted: Wanted) -> str:
    named = [f"{part.number} as {name}" for name, part in wanted.parts.items()]
    return ", ".join([wanted.part.number, *named] if wanted.part else named)


def _together(study: Study) -> Mapping[str, str]:
    data = b"".join(chip.data for chip in study.chips)
    return _sums(data) if len(study.burnt) > 1 else {}


def _sums(data: bytes) -> dict[str, str]:
    return {each.name: each.text(data) for each in SUMS.values()}


def _chip(one: Programmed) -> ChipRow:
    sums = _sums(one.data)
    return ChipRow(one.name, one.part, one.range, len(one.data), one.used, sums)


def _vectors(study: Study) -> list[VectorRow]:
    rows = []
    for vector in vectors():
        at = vector.address
        if not study.ground.is_held(at):
            rows.append(VectorRow(at, vector.name, "blank", ""))
            continue
        line = disassemble(study.ground.bytes.__getitem__, at, symbols=study.places.named)
        starts = study.survey.facts.starts
        if at in starts:
            reached = "code" if at in study.survey.covered else "code, seen in the run"
        else:
            reached = "inside an instruction" if at in study.survey.covered else "not reached"
        rows.append(VectorRow(at, vector.name, line.text, reached))
    return rows


def _run(study: Study) -> RunRow | None:
    ride = study.ride
    if ride is None:
        return None
    code = study.survey.covered | study.survey.seen
    covered = ride.execution.covered
    return RunRow(
        ride.about,
        ride.t_states,
        ride.execution.records,
        sum(1 for at in code if covered[at]),
        len(code),
        list(_missed(study, sorted(at for at in code if not covered[at]))),
        ride.stacks,
        ride.latencies,
        ride.complete,
    )


def _missed(study: Study, addresses: Sequence[int]) -> Iterator[Area]:
    """Addresses as stretches, each cut where a label stands."""
    for low, high in of_addresses(addresses, study.places.labels):
        yield Area(low, high, Use.CODE, study.places.symbol(low))


def _made(check: Check, study: Study) -> CheckDone:
    try:
        notes = tuple(_placed(study, note) for note in dict.fromkeys(check.find(study)))
    except NotMadeError as error:
        return CheckDone(check.name, check.about, Result.NOT_CHECKED, why=str(error))
    if check.name in study.wanted.accepted:
        notes = tuple(replace(note, is_meant=True) for note in notes)
    return CheckDone(check.name, check.about, result_of(notes), notes)


def _placed(study: Study, note: Note) -> PlacedNote:
    if note.address is None:
        return PlacedNote(note.text, note.is_fault, note.is_meant)
    places, at = study.places, note.address
    placed = f"{at:04X}", places.symbol(at), places.line(at)
    return PlacedNote(note.text, note.is_fault, note.is_meant, *placed)


def _place(study: Study, at: int) -> str:
    return _placed(study, Note("", at)).place


__all__ = ["CAUTIONS", "FIT", "NOT_FIT", "WORDS", "ChipRow", "Report", "RunRow", "report"]
