"""Timing cards as data: an instruction's machine cycles, what each T-state of them does, and
what it all comes to.

What happens is the instruction table's (:mod:`emu85.isa`); addresses, data, lines and lengths
are those of a run on the :class:`~emu85.timing.bench.Bench`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from emu85.bus.cycles import BI_ACKNOWLEDGE, DESCRIPTIONS, LEVELS, STATES, WRITES, Cycle, Levels
from emu85.isa import Addr, Instruction, MachineCycle, Op, Reg
from emu85.isa.addresses import STACK_NOTE, counted_addresses, uses_stack
from emu85.timing.ac_table import PARTS, STANDARD, Part
from emu85.timing.bench import WAITING, Bench, Ran, Situation
from emu85.timing.subjects import Event, Subject
from emu85.timing.t_states import (
    CONDITION_TEXT,
    Place,
    State,
    address_text,
    purpose,
    register_text,
    states,
)

CRYSTAL = Fraction(6_144_000)
"""Hertz, where nothing else is said."""
MANUAL = "MCS-80/85 Family User's Manual, October 1979"
_ACKNOWLEDGE = f"{MANUAL}, section 2.3, interrupts, halt, hold and reset (values from memory)"
_STATES = f"{MANUAL}, CPU states and machine cycle chart (values from memory)"
_ALU = {Op.ADD, Op.ADC, Op.SUB, Op.SBB, Op.ANA, Op.XRA, Op.ORA, Op.CMP}
_OVERLAP = (
    "Overlap: the 8080's state table (MCS-80 User's Manual, value from memory) has the sum or "
    "the comparison finished in T2 of the next opcode fetch, while the bus is busy with that "
    "fetch; so the adder's time costs no T-state of its own. For the 8085 no such table is "
    "known to us. On the bus there is no difference."
)


@dataclass(frozen=True, slots=True)
class CardCycle:
    """A machine cycle on a card.

    Attributes:
        number: from 1; 0 for one that is shown before or after what the card is about.
        t_states: without wait states.
        length: T-states with wait states; of a state, as many as the run had.
        levels: status lines and strobes.
        address, data: what stood on the buses; None where they float.
        source: what the address is.
        carries: what the data byte is.
        purpose: why it is there.
    """

    number: int
    kind: Cycle
    t_states: int
    waits: int
    length: int
    levels: Levels
    address: int | None
    data: int | None
    source: str
    carries: str
    purpose: str
    states: tuple[State, ...]

    @property
    def description(self) -> str:
        """The type in words."""
        return DESCRIPTIONS[self.kind]

    @property
    def is_state(self) -> bool:
        """Whether it is halt, hold or reset, whose length is not the CPU's choice."""
        return self.kind in STATES


@dataclass(frozen=True, slots=True)
class Way:
    """One way through an instruction.

    Attributes:
        name: ``"taken: NZ is met (Z is 0)"``; empty if there is one way only.
        cycles: machine cycles in order.
        ran: the run that gave them.
    """

    name: str
    cycles: tuple[CardCycle, ...]
    ran: Ran

    @property
    def own(self) -> tuple[CardCycle, ...]:
        """Those cycles that are counted."""
        return tuple(cycle for cycle in self.cycles if cycle.number)

    @property
    def t_states(self) -> int:
        """T-states without wait states."""
        return sum(cycle.t_states for cycle in self.own)

    @property
    def length(self) -> int:
        """T-states with the wait states asked for."""
        return self.ran.t_states

    def with_waits(self, kinds: Iterable[Cycle], each: int = 1) -> int:
        """T-states if every cycle of some types has so many wait states."""
        chosen = set(kinds)
        return self.t_states + each * sum(cycle.kind in chosen for cycle in self.own)


@dataclass(frozen=True, slots=True)
class Card:
    """All that a card tells.

    Attributes:
        ways: one, or for a conditional instruction both, the condition met first.
        t_seconds: a T-state in seconds.
        part: whose limits in time are told.
        board: the board whose wait states are counted, or ``""``.
    """

    subject: Subject
    ways: tuple[Way, ...]
    crystal: Fraction
    part: Part
    board: str
    source: str
    notes: tuple[str, ...]

    @property
    def instruction(self) -> Instruction | None:
        """The program's instruction that it is about."""
        return self.subject.instruction if self.subject.event is None else None

    @property
    def t_seconds(self) -> Fraction:
        """A T-state in seconds: CLK is half the crystal."""
        return 2 / self.crystal

    @property
    def summary(self) -> str:
        """What it does, in a line."""
        one = self.subject
        if one.event is Event.INTR and one.instruction is not None:
            return f"{one.event.value} when the board answers with {one.instruction.mnemonic}"
        if one.event is not None:
            return one.event.value
        assert one.instruction is not None
        return one.instruction.summary

    @property
    def is_open(self) -> bool:
        """Whether its length depends on something outside."""
        return self.subject.event in (Event.HALT, Event.HOLD, Event.RESET)


@dataclass(frozen=True, slots=True)
class Setting:
    """Under what circumstances times are told."""

    situation: Situation = field(default_factory=Situation)
    crystal: Fraction = CRYSTAL
    part: Part = PARTS[STANDARD]
    board: str = ""


def make_card(subject: Subject, setting: Setting, bench: Bench) -> Card:
    """The card of a subject."""
    one = subject.instruction
    conditional = subject.event is None and one is not None and one.condition is not None
    ways = tuple(
        _way(subject, bench.run(subject, setting.situation, met=met), met, conditional)
        for met in ((True, False) if conditional else (True,))
    )
    return Card(
        subject,
        ways,
        setting.crystal,
        setting.part,
        setting.board,
        _source(subject),
        tuple(_notes(subject, ways[0].ran)),
    )


def _way(subject: Subject, ran: Ran, met: bool, conditional: bool) -> Way:
    name = ""
    condition = subject.instruction.condition if subject.instruction else None
    if conditional and condition is not None:
        verdict = f"met ({CONDITION_TEXT[condition]})" if met else "not met"
        name = f"{'taken' if met else 'not taken'}: {condition.name} is {verdict}"
    return Way(name, tuple(_cycles(subject, ran, met)), ran)


def _cycles(subject: Subject, ran: Ran, met: bool) -> Iterator[CardCycle]:
    number = 0
    byte = 0
    own = [row for index, row in enumerate(ran.rows) if index in ran.counted]
    counted_from = dict(zip(sorted(ran.counted), counted_addresses(own), strict=True))
    for index, row in enumerate(ran.rows):
        counted = index in ran.counted
        number += counted
        is_byte = counted and (row.address is Addr.PC or row.kind is Cycle.INA)
        byte += is_byte
        following = ran.rows[index + 1] if index + 1 < len(ran.rows) else None
        place = Place(
            subject.instruction,
            following,
            byte if is_byte else 0,
            met,
            counted_from.get(index) or address_text(row),
        )
        record = ran.records[index]
        waits = int(record["waits"])
        floats = row.kind in STATES
        yield CardCycle(
            number=number if counted else 0,
            kind=row.kind,
            t_states=row.t_states,
            waits=waits,
            length=ran.length(index),
            levels=BI_ACKNOWLEDGE if row.acknowledges else LEVELS[row.kind],
            address=None if floats else int(record["address"]),
            data=None if floats or row.kind is Cycle.BI else int(record["data"]),
            source="" if floats else place.address,
            carries=_carries(row, place),
            purpose=purpose(row, place),
            states=states(row, waits, ran.length(index), place),
        )


def _carries(row: MachineCycle, place: Place) -> str:
    """What the data byte of a row is."""
    if row.kind in WRITES:
        return register_text(row.register)
    if row.kind in (Cycle.OF, Cycle.INA) and place.number <= 1:
        return "the opcode"
    if place.number:
        return f"byte {place.number}"
    return {Cycle.MR: "the byte there", Cycle.IOR: "what the port gives"}.get(row.kind, "")


def _source(subject: Subject) -> str:
    if subject.event is not None or subject.instruction is None:
        return _ACKNOWLEDGE
    memory = "" if "memory" in subject.instruction.source else " (values from memory)"
    return f"{subject.instruction.source}{memory}; T-states: {_STATES}"


def _notes(subject: Subject, ran: Ran) -> Iterator[str]:
    one = subject.instruction
    if uses_stack([row for index, row in enumerate(ran.rows) if index in ran.counted]):
        yield STACK_NOTE
    if one is not None and any(_uses_inner(row) for row in one.cycles):
        yield "W, Z and TMP are registers inside the CPU that no instruction names."
    if subject.event is Event.INTR:
        yield _INTA_NOTE
    if subject.event in _EVENT_NOTES:
        yield _EVENT_NOTES[subject.event]
    if subject.event is not None or one is None:
        return
    if not one.specified:
        yield "Not in Intel's manuals."
    if one.choice:
        yield f"Choice: {one.choice}"
    if one.aliases:
        yield f"Also written: {', '.join(one.aliases)}"
    if any(cycle.does in _ALU for cycle in one.cycles):
        yield _OVERLAP


def _uses_inner(row: MachineCycle) -> bool:
    moves = row.kind not in (Cycle.OF, Cycle.BI) and row.register in (Reg.W, Reg.Z, Reg.TMP)
    return moves or row.does in (Op.DE_TO_WZ, Op.HL_PLUS_Z, Op.SP_PLUS_Z)


_INTA_NOTE = (
    "INTA cycles have no wait states here: a board file states them of addresses and ports, and "
    "these cycles select neither."
)
_INPUT_NOTE = (
    "Interrupt inputs are sampled one T-state before an instruction ends; the fetch shown before "
    "it is the one in which that happens. A drawing has an input change tINS before that, the "
    "latest that the data sheet allows."
)
_EVENT_NOTES = {
    Event.TRAP: _INPUT_NOTE,
    Event.RST75: _INPUT_NOTE,
    Event.RST65: _INPUT_NOTE,
    Event.RST55: _INPUT_NOTE,
    Event.INTR: f"{_INPUT_NOTE} So INTR is seen to fall late: a board lets it go when it answers.",
    Event.HALT: "The manual's five T-states of HLT are the fetch and the first of the halt state. "
    "Here RST 7.5 ends it.",
    Event.HOLD: "HOLD is sampled in T2 of a machine cycle; the bus is given away after that cycle, "
    "in the middle of an instruction too.",
    Event.RESET: "RESET IN must be low for three T-states at least, and 10 ms after power-on. "
    "Registers other than PC are not defined by the manual.",
}


class TimeRow(NamedTuple):
    """How long a card's subject takes in one case, for each of its ways.

    Attributes:
        label: the case.
        t_states: T-states, a number each way.
    """

    label: str
    t_states: tuple[int, ...]


def time_rows(card: Card) -> Iterator[TimeRow]:
    """Without wait states, as they were asked for, and with one in each type of cycle."""
    yield TimeRow("no wait states", tuple(way.t_states for way in card.ways))
    if any(cycle.waits for way in card.ways for cycle in way.own):
        where = f"as {card.board} has them" if card.board else "as asked for"
        yield TimeRow(f"wait states {where}", tuple(way.length for way in card.ways))
    present = {cycle.kind for way in card.ways for cycle in way.own}
    kinds = [kind for kind in WAITING if kind in present]
    for kind in kinds if len(kinds) > 1 else ():
        yield TimeRow(
            f"a wait state in each {DESCRIPTIONS[kind]}",
            tuple(way.with_waits([kind]) for way in card.ways),
        )
    if kinds:
        every = tuple(way.with_waits(kinds) for way in card.ways)
        yield TimeRow("a wait state in every memory and I/O cycle", every)
