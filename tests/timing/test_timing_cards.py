"""Timing cards against the published tables, and against runs on another machine.

Sources: ``tests/published/opcodes.py``; status lines from the machine cycle chart of the
MCS-80/85 Family User's Manual, October 1979 (values from memory).
"""

from __future__ import annotations

import re
from random import Random

import pytest

from emu85.bus.cycles import Cycle
from emu85.cpu.layout import WAIT_MASK, WAIT_SHIFT
from emu85.timing.bench import WAITING, Bench, Situation
from emu85.timing.cards import Card, CardCycle, Setting, Way, make_card, time_rows
from emu85.timing.subjects import EVENTS, instruction_subject, subject_named
from tests.published.harness import Rig
from tests.published.opcodes import HLT, LENGTH, OPCODES, Opcode

LETTERS = {"F": "OF", "S": "OF", "R": "MR", "W": "MW", "I": "IOR", "O": "IOW", "B": "BI"}
STATUS = {
    "OF": (0, 1, 1),
    "MR": (0, 1, 0),
    "MW": (0, 0, 1),
    "IOR": (1, 1, 0),
    "IOW": (1, 0, 1),
    "BI": (0, 1, 0),
    "INA": (1, 1, 1),
}
"""IO/M, S1, S0.  Bus idle is DAD's."""
STROBE = {"OF": "rd", "MR": "rd", "IOR": "rd", "MW": "wr", "IOW": "wr", "INA": "inta"}

PLAIN = Situation()
BYTES = {
    "A": PLAIN.a, "B": PLAIN.bc >> 8, "C": PLAIN.bc & 0xFF, "D": PLAIN.de >> 8,
    "E": PLAIN.de & 0xFF, "H": PLAIN.hl >> 8, "L": PLAIN.hl & 0xFF,
}  # fmt: skip
WAITS = {Cycle.OF: 1, Cycle.MR: 2, Cycle.MW: 5, Cycle.IOR: 7, Cycle.IOW: 11}


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench()


@pytest.fixture(scope="module")
def cards(bench: Bench) -> list[Card]:
    return [make_card(instruction_subject(code), Setting(), bench) for code in range(256)]


@pytest.fixture(scope="module")
def events(bench: Bench) -> dict[str, Card]:
    return {one.name: make_card(one, Setting(), bench) for one in EVENTS}


def ways(card: Card, one: Opcode) -> list[tuple[Way, int, tuple[str, ...]]]:
    """The card's ways, each with the published T-states and machine cycles."""
    published = [(one.t, one.cycles), (one.t_not, one.cycles_not)][: 1 + one.conditional]
    assert len(card.ways) == len(published)
    return [(way, t, cycles) for way, (t, cycles) in zip(card.ways, published, strict=True)]


def test_machine_cycles_and_t_states_are_those_published(cards: list[Card]) -> None:
    for code, one in OPCODES.items():
        assert cards[code].subject.instruction is not None
        for way, t, cycles in ways(cards[code], one):
            assert way.t_states == way.length == t, str(one)
            kinds = [LETTERS[cycle[0]] for cycle in cycles]
            lengths = [LENGTH[cycle[0]] for cycle in cycles]
            if code == HLT:
                kinds, lengths = ["OF", "HALT"], [4, 1]
            assert [cycle.kind.name for cycle in way.own] == kinds, str(one)
            assert [cycle.t_states for cycle in way.own] == lengths, str(one)


def test_addresses_and_written_data_are_those_published(cards: list[Card]) -> None:
    for code, one in OPCODES.items():
        if code == HLT:
            continue
        for way, _, cycles in ways(cards[code], one):
            for seen, letter in zip(way.own, cycles, strict=True):
                _check_buses(seen, letter, one)


def test_addresses_on_the_stack_are_named_by_sp_before_the_instruction(
    cards: list[Card], events: dict[str, Card]
) -> None:
    """As in the manual's machine cycle chart; the number beside the name is the run's."""
    named = 0
    for card in (*cards, *events.values()):
        for cycle in (cycle for way in card.ways for cycle in way.own):
            if not cycle.source.startswith("SP"):
                continue
            named += 1
            sign, offset = _signed(cycle.source)
            assert cycle.address == PLAIN.sp + sign * offset, card.subject.name
            assert f"memory at {cycle.source}" in cycle.purpose
    assert named > 80


def _signed(source: str) -> tuple[int, int]:
    found = re.fullmatch(r"SP(?: ([+-]) (\d))?", source)
    assert found
    return (-1 if found[1] == "-" else 1), int(found[2] or 0)


@pytest.mark.parametrize(
    ("name", "sources"),
    [
        ("CALL 1234", ["PC", "PC", "PC", "SP - 1", "SP - 2"]),
        ("RET", ["PC", "SP", "SP + 1"]),
        ("XTHL", ["PC", "SP", "SP + 1", "SP + 1", "SP"]),
        ("LHLD 1234", ["PC", "PC", "PC", "WZ", "WZ + 1"]),
    ],
)
def test_names_of_addresses(bench: Bench, name: str, sources: list[str]) -> None:
    card = make_card(subject_named(name), Setting(), bench)
    assert [cycle.source for cycle in card.ways[0].own] == sources
    assert any("SP as it is before" in note for note in card.notes) == ("SP" in str(sources))


def _check_buses(seen: CardCycle, letter: str, one: Opcode) -> None:
    found = re.fullmatch(r"\w(?:\[(.*?)\])?(?:=(.*))?", letter)
    assert found
    place, data = found.groups()
    if letter[0] == "B":
        assert seen.data is None
        return
    assert seen.address == (PLAIN.pc if place is None else _address(place, one)), (str(one), letter)
    if data:
        assert seen.data == _datum(data, one), (str(one), letter)


def _address(text: str, one: Opcode) -> int:
    base, sign, offset = re.fullmatch(r"(\w+)([+-]?)(\d?)", text).groups()  # type: ignore[union-attr]
    known = {
        "PC": PLAIN.pc, "HL": PLAIN.hl, "BC": PLAIN.bc, "DE": PLAIN.de, "SP": PLAIN.sp,
        "nn": PLAIN.direct, "port": PLAIN.port * 0x101,
    }  # fmt: skip
    return known[base] + int(f"{sign}{offset or 0}")


def _datum(text: str, one: Opcode) -> int:
    back = PLAIN.pc + one.size
    at_hl = 0x5A  # what the bench puts there
    pairs = {"B": PLAIN.bc, "D": PLAIN.de, "H": PLAIN.hl, "PSW": PLAIN.a << 8 | PLAIN.f}
    named = {"ret": back, **pairs}
    if "." in text:
        name, half = text.split(".")
        return named[name] >> 8 if half == "hi" else named[name] & 0xFF
    others = {"d8": PLAIN.datum, "M+1": at_hl + 1, "M-1": at_hl - 1}
    return others[text] if text in others else BYTES[text]


def test_status_lines_and_strobes_are_those_of_the_chart(cards: list[Card]) -> None:
    for card in cards:
        for cycle in (cycle for way in card.ways for cycle in way.own if not cycle.is_state):
            name = cycle.kind.name
            levels = cycle.levels
            assert (levels.io_m, levels.s1, levels.s0) == STATUS[name]
            low = [pin for pin in ("rd", "wr", "inta") if getattr(levels, pin) == 0]
            assert low == ([STROBE[name]] if name in STROBE else [])


def test_t_states_are_named_in_order_and_none_is_missing(
    cards: list[Card], events: dict[str, Card], bench: Bench
) -> None:
    slow = Setting(Situation(waits=WAITS))
    slow_cards = [make_card(instruction_subject(code), slow, bench) for code in range(256)]
    for card in [*cards, *slow_cards, *events.values()]:
        for cycle in (cycle for way in card.ways for cycle in way.cycles):
            assert sum(state.count for state in cycle.states) == cycle.length
            names = [state.name for state in cycle.states]
            if cycle.is_state:
                assert names == [f"T{cycle.kind.name}"]
                continue
            whole = ["T1", "T2", *["TW"] * bool(cycle.waits), "T3", "T4", "T5 T6"]
            last = {3: "T3", 4: "T4", 6: "T5 T6"}[cycle.t_states]
            assert names == whole[: whole.index(last) + 1]


def test_wait_states_by_type_are_counted(bench: Bench) -> None:
    """Every opcode, each type of cycle with a number of wait states of its own."""
    random = Random(85)
    for code, one in OPCODES.items():
        waits = {kind: random.randrange(6) for kind in WAITING}
        card = make_card(instruction_subject(code), Setting(Situation(waits=waits)), bench)
        for way, t, cycles in ways(card, one):
            names = [LETTERS[cycle[0]] for cycle in cycles]
            more = sum(waits[kind] * names.count(kind.name) for kind in waits)
            assert way.length == t + more, (str(one), waits)
            assert way.t_states == t
            assert way.with_waits(WAITING, 3) == t + 3 * sum(name != "BI" for name in names)


def test_a_machine_takes_as_long_as_the_card_says(cards: list[Card]) -> None:
    """Every opcode, both ways, on a board whose memory and ports have random wait states."""
    rig = Rig()
    random = Random(8085)
    flags = (0x00, 0xF7)
    for code in OPCODES:
        if code == HLT:
            continue
        waits = random.randrange(5)
        rig.machine.board.map[:] &= ~(WAIT_MASK << WAIT_SHIFT)
        rig.machine.board.map[:] |= waits << WAIT_SHIFT
        lengths = {_run(rig, code, flag) for flag in flags}
        assert lengths == {way.with_waits(WAITING, waits) for way in cards[code].ways}


def _run(rig: Rig, code: int, flags: int) -> int:
    rig.put(0x0150, [code, 0x70, 0x80])
    rig.set(PC=0x0150, SP=0x87F0, F=flags, B=0x80, C=0x50, D=0x80, E=0x60, H=0x80, L=0x40)
    before = rig.machine.t
    rig.instruction()
    return rig.machine.t - before


def test_mov_m_a_says_why_it_costs_seven(bench: Bench) -> None:
    (way,) = make_card(subject_named("mov m,a"), Setting(), bench).ways
    assert [(cycle.t_states, cycle.purpose) for cycle in way.own] == [
        (4, "fetch the opcode and decode it"),
        (3, "write A to memory at HL"),
    ]
    write = way.own[1]
    assert (write.address, write.data, write.source, write.carries) == (0x8040, 0x3E, "HL", "A")


def test_how_interrupts_are_taken(events: dict[str, Card]) -> None:
    """User's Manual, October 1979, section 2.3 (value from memory): 12 T-states, or 18 by CALL."""
    for name, vector in (("TRAP", 0x24), ("RST 7.5", 0x3C), ("RST 6.5", 0x34), ("RST 5.5", 0x2C)):
        (way,) = events[name].ways
        assert way.own[-1].purpose.endswith(f"PC <- {vector:04X}")
        assert [cycle.kind.name for cycle in way.own] == ["BI", "MW", "MW"]
        assert way.t_states == way.length == 12
        levels = way.own[0].levels
        assert (levels.io_m, levels.s1, levels.s0, levels.rd, levels.ale) == (1, 1, 1, 1, 1)
        back = 0x0151  # after the NOP at 0150, on the stack at 87F0
        pushed = [(cycle.address, cycle.data) for cycle in way.own[1:]]
        assert pushed == [(0x87EF, back >> 8), (0x87EE, back & 0xFF)]
    (rst,) = events["INTR RST 5"].ways
    assert [(c.kind.name, c.t_states) for c in rst.own] == [("INA", 6), ("MW", 3), ("MW", 3)]
    assert rst.own[0].data == 0xEF  # 11 101 111
    (call,) = events["INTR CALL addr"].ways
    assert [(c.kind.name, c.t_states) for c in call.own] == [
        ("INA", 6), ("INA", 3), ("INA", 3), ("MW", 3), ("MW", 3),
    ]  # fmt: skip
    assert [c.data for c in call.own[:3]] == [0xCD, 0x80, 0x02]


def test_halt_hold_and_reset_are_shown_with_what_is_around_them(events: dict[str, Card]) -> None:
    kinds = {
        name: [(cycle.kind.name, bool(cycle.number)) for cycle in events[name].ways[0].cycles]
        for name in ("HALT", "HOLD", "RESET")
    }
    assert kinds["HALT"] == [
        ("OF", True), ("HALT", True), ("BI", False), ("MW", False), ("MW", False),
    ]  # fmt: skip
    assert kinds["HOLD"] == [("OF", False), ("HOLD", True), ("OF", False)]
    assert kinds["RESET"] == [("OF", False), ("RESET", True), ("OF", False)]
    reset, fetch = events["RESET"].ways[0].cycles[1:]
    assert reset.length == 3
    assert fetch.address == 0


def test_one_bench_gives_the_same_whatever_it_ran_before(bench: Bench) -> None:
    fresh = make_card(subject_named("RST 7.5"), Setting(), Bench())
    for other in ("HOLD", "TRAP", "sta 0150", "RST 6.5", "ei"):
        make_card(subject_named(other), Setting(Situation(waits=WAITS)), bench)
    assert make_card(subject_named("RST 7.5"), Setting(), bench).ways[0].cycles == (
        fresh.ways[0].cycles
    )


def test_rows_of_times(bench: Bench) -> None:
    card = make_card(subject_named("cnz"), Setting(Situation(waits={Cycle.MW: 2})), bench)
    assert [(row.label, row.t_states) for row in time_rows(card)] == [
        ("no wait states", (18, 9)),
        ("wait states as asked for", (22, 9)),
        ("a wait state in each opcode fetch", (19, 10)),
        ("a wait state in each memory read", (20, 10)),
        ("a wait state in each memory write", (20, 9)),
        ("a wait state in every memory and I/O cycle", (23, 11)),
    ]
