"""Where control is followed, and where it is known not to go: no alarm on usual tricks.

Each program stands in the bench's ROM and is followed from reset alone.  Bytes that would
raise an alarm if they were taken for code are jumps to where no chip is (C3 00 40).
"""

from __future__ import annotations

import pytest

from emu85.board import fit, read_board
from emu85.burn.flow import Facts, Flow, Hints, Kind, Root
from emu85.burn.ground import Ground
from emu85.burn.survey import survey
from emu85.firmware import Image, assemble
from tests.burn.bench import BOARD, examined, notes, results

TRAP = "DB 0C3H,0,40H\n"


def followed(text: str, **hints: list[str]) -> tuple[Facts, Image]:
    """What the flow finds in a program that begins with its stack set; and the image."""
    image = assemble(f" LXI SP,8800H\n{text}", "flow.asm").image
    ground = Ground(fit(read_board(BOARD, "bench.yaml")), image)
    places = {key: [image.symbols[name] for name in names] for key, names in hints.items()}
    wanted = Hints(
        tuple(places.get("entries", ())),
        frozenset(places.get("never_return", ())),
        frozenset(places.get("returns", ())),
    )
    return survey(ground, wanted, (), clean=True).facts, image


def reached(facts: Facts, image: Image, *names: str) -> list[bool]:
    """Whether instructions surely begin at names; vectors that nothing uses are not sure."""
    return [facts.starts.get(image.symbols[name], False) for name in names]


TRICKS = {
    "two jumps whose conditions leave no way on": f"""
LOOP:   IN      10H
        ORA     A
        JZ      LOOP
        JNZ     AFTER
        {TRAP}
AFTER:  RRC
        JC      LOOP
        JNC     AFTER
        {TRAP}
""",
    "a return on either condition": f"""
        CALL    EITHER
AFTER:  JMP     AFTER
EITHER: IN      10H
        ANI     4
        RZ
        MVI     B,4
        RNZ
        {TRAP}
""",
    "a text behind the CALL, which the routine steps over": f"""
        CALL    PRINT
        {TRAP}
        DB      0
AFTER:  JMP     AFTER
PRINT:  XTHL
NEXT:   MOV     A,M
        INX     H
        ORA     A
        JZ      LAST
        OUT     20H
        JMP     NEXT
LAST:   XTHL
        RET
""",
    "a routine that drops its caller": f"""
        CALL    OUTER
AFTER:  JMP     AFTER
OUTER:  CALL    INNER
        {TRAP}
INNER:  POP     H
        RET
""",
    "an address pushed and returned to": f"""
        LXI     H,AFTER
        PUSH    H
        RET
        {TRAP}
AFTER:  JMP     AFTER
""",
    "data behind a HLT that nothing ends": f"""
AFTER:  DI
        HLT
        {TRAP}
""",
    "a jump that is always taken": f"""
        XRA     A
        JZ      AFTER
        {TRAP}
AFTER:  JMP     AFTER
""",
    "a count that is known to be over": f"""
        MVI     B,1
        DCR     B
        JZ      AFTER
        {TRAP}
AFTER:  JMP     AFTER
""",
    "a comparison that is known": f"""
        MVI     A,5
        CPI     6
        JC      AFTER
        {TRAP}
AFTER:  JMP     AFTER
""",
    "a routine that never comes back": f"""
AFTER:  CALL    DIE
        {TRAP}
DIE:    JMP     DIE
""",
    "addresses taken off a table by RET": f"""
        LXI     SP,WORDS
        RET
WORDS:  DW      ONE,AFTER
        {TRAP}
ONE:    NOP
        RET
        {TRAP}
AFTER:  JMP     AFTER
""",
    "a parameter behind the CALL, peeked at": """
        CALL    TAKE
        DB      55H
AFTER:  JMP     AFTER
TAKE:   POP     H
        MOV     A,M
        INX     H
        PUSH    H
        RET
""",
    "two bytes behind the CALL, left by PCHL": """
        CALL    TAKE
        DW      4000H
AFTER:  JMP     AFTER
TAKE:   POP     H
        MOV     E,M
        INX     H
        MOV     D,M
        INX     H
        PCHL
""",
    "registers and flags pushed and popped": """
        CALL    KEEP
AFTER:  JMP     AFTER
KEEP:   PUSH    PSW
        PUSH    H
        MVI     A,1
        POP     H
        POP     PSW
        RET
""",
    "a test of where RAM ends": """
        LXI     H,0
MORE:   MOV     A,M
        CMA
        MOV     M,A
        CMP     M
        INX     H
        JNZ     MORE
AFTER:  JMP     AFTER
""",
    "a loop whose end takes HL where it has come to": """
        LXI     H,TABLE
MORE:   MOV     A,M
        INX     H
        ORA     A
        JNZ     MORE
        MOV     E,M
        INX     H
        MOV     D,M
        XCHG
        PCHL
TABLE:  DB      1,2,3,0
        DW      AFTER
AFTER:  JMP     AFTER
""",
    "registers loaded by popping from a table, the stack put back": """
        LXI     H,0
        DAD     SP
        SHLD    8000H
        LXI     SP,TABLE
        POP     D
        POP     B
        LHLD    8000H
        SPHL
        CALL    AFTER
TABLE:  DW      1,2
AFTER:  RET
""",
}
HAVE_NO_AFTER = {"a loop whose end takes HL where it has come to"}


@pytest.mark.parametrize("name", TRICKS)
def test_a_trick_raises_no_alarm(name: str) -> None:
    facts, image = followed(TRICKS[name])
    assert facts.outside == {}
    assert facts.lost == {}
    assert facts.stray == {}
    if name == "a text behind the CALL, which the routine steps over":
        assert list(facts.no_return) == [3]  # its CALL: nothing is followed after it, and told
        assert reached(facts, image, "AFTER") == [False]
    elif name in HAVE_NO_AFTER:
        assert len(facts.unknown) == 1
    else:
        assert reached(facts, image, "AFTER") == [True]
        assert facts.unknown == set()


def test_tricks_raise_no_alarm_in_the_whole_check() -> None:
    for name, text in TRICKS.items():
        text = text.replace("        LXI     H,0\nMORE", "        LXI     H,8000H\nMORE")
        image = assemble(f" LXI SP,8800H\n{text}", "flow.asm").image
        assert results(examined(image, milliseconds=0)) == {}, name


def test_a_named_routine_comes_back() -> None:
    text = TRICKS["a text behind the CALL, which the routine steps over"].replace(TRAP, "NOP\n")
    facts, image = followed(text, returns=["PRINT"])
    assert reached(facts, image, "AFTER") == [True]


def test_a_named_routine_does_not_come_back() -> None:
    text = f"CALL EXIT\n{TRAP}EXIT: RET\n"
    facts, _ = followed(text)
    assert [hop.target for hop in facts.outside] == [0x4000]
    facts, _ = followed(text, never_return=["EXIT"])
    assert facts.outside == {}


def test_a_named_entry_is_followed() -> None:
    text = "LHLD 8000H\n PCHL\nENTRY: JMP 4000H\n"
    facts, image = followed(text)
    assert facts.unknown == {6}
    assert reached(facts, image, "ENTRY") == [False]
    facts, image = followed(text, entries=["ENTRY"])
    assert reached(facts, image, "ENTRY") == [True]
    assert [hop.target for hop in facts.outside] == [0x4000]


@pytest.mark.parametrize(
    ("opcode", "condition"),
    [
        *(("JNZ", "Z"), ("JZ", "NZ"), ("JNC", "C"), ("JC", "NC")),
        *(("JPO", "PE"), ("JPE", "PO"), ("JP", "M"), ("JM", "P")),
    ],
)
def test_both_ways_of_a_condition_that_is_not_known(opcode: str, condition: str) -> None:
    facts, image = followed(f"IN 10H\n ADD A\n {opcode} YES\nNO: JMP NO\nYES: JMP YES\n")
    assert reached(facts, image, "NO", "YES") == [True, True], condition


def test_calls_and_returns_of_both_ways() -> None:
    facts, image = followed(
        "IN 10H\n ORA A\n CNZ SUB1\nON: JMP ON\nSUB1: RZ\nSTAYS: INR A\n RM\n JMP STAYS\n"
    )
    assert reached(facts, image, "ON", "SUB1", "STAYS") == [True, True, True]


HALTED = """
        JMP     BEGIN
        ORG     3CH             ; RST 7.5, which the board's tick drives
{handler}
BEGIN:  LXI     SP,8800H
        MVI     A,0BH
        SIM
        EI
        HLT
        DB      0C3H,0,40H
WORK:   JMP     WORK
"""


@pytest.mark.parametrize(
    ("handler", "mark"),
    [
        ("LXI SP,8800H\n JMP WORK", []),
        ("POP H\n JMP WORK", []),
        ("EI\n RET", ["X"]),
        ("CALL AGAIN\n EI\n RET\nAGAIN: RET", ["X"]),
    ],
)
def test_a_halt_goes_on_for_sure_if_an_interrupt_returns(handler: str, mark: list[str]) -> None:
    """What stands behind the halt is a jump to where no chip is: a fault if it is reached."""
    text = HALTED.format(handler=handler)
    found = examined(assemble(text, "halt.asm").image, milliseconds=0)
    kinds = ["X" if n.is_fault else "?" for c in found.checks for n in c.notes]
    assert [kind for kind in kinds if kind == "X"] == mark


def test_what_a_halt_may_lead_to_is_no_fault() -> None:
    """Interrupts may be on there, for all that is known: told for a look, not as a fault."""
    text = """
        LXI     SP,8800H
        MVI     A,0BH
        SIM
        EI
        CALL    FRESH
        HLT
        DB      0C3H,0,40H
FRESH:  RET
        ORG     3CH
        RET
"""
    found = examined(assemble(text, "halt.asm").image, milliseconds=0)
    assert notes(found, "nowhere") == [
        "000B, halt.asm:8: jumps to 4000, where the board has no chip"
    ]
    assert found.is_fit


def test_code_may_run_across_vectors_that_nothing_uses() -> None:
    text = " LXI SP,8800H\n REPT 40\n LXI B,1234H\n ENDM\nEND1: JMP END1\n"
    found = examined(assemble(text, "across.asm").image, milliseconds=0)
    assert results(found) == {}
    inside = {row.name for row in found.vectors if row.reached == "inside an instruction"}
    # LXIs begin at multiples of 3; 8, 10H, ... that are none lie inside one.
    assert inside == {"RST 1", "RST 2", "RST 4", "RST 5", "RST 7", "RST 5.5", "RST 6.5"}


def test_a_wired_input_into_the_middle_of_code_is_a_fault() -> None:
    text = " LXI SP,8800H\n REPT 20\n DB 1,0,0\n ENDM\nEND1: JMP END1\n"
    found = examined(
        assemble(text, "across.asm").image,
        ("  RST 7.5: tick.out", "  RST 7.5: tick.out\n  TRAP: key.out"),
        milliseconds=0,
    )
    assert results(found) == {}  # 24H is where an LXI begins
    found = examined(
        assemble(text.replace("LXI SP,8800H", "LXI SP,8800H\n NOP"), "across.asm").image,
        ("  RST 7.5: tick.out", "  RST 7.5: tick.out\n  TRAP: key.out"),
        milliseconds=0,
    )
    assert set(results(found)) == {"overlap"}


def test_a_flow_that_is_asked_twice_says_the_same() -> None:
    image = assemble(" LXI SP,8800H\nA1: CALL B1\n JMP A1\nB1: RET\n", "two.asm").image
    ground = Ground(fit(read_board(BOARD, "bench.yaml")), image)
    flow = Flow(ground, Hints(), wakes=False, traps=False)
    flow.enter(Root(0, Kind.RESET))
    first = flow.facts()
    assert flow.facts() == first
    assert sorted(first.starts) == [0, 3, 6, 9]


def test_what_was_not_followed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("emu85.burn.flow.MOST_STEPS", 2)
    text = " LXI SP,8800H\n NOP\n NOP\nSTAY: JMP STAY\n"
    found = examined(assemble(text, "n.asm").image, milliseconds=0)
    assert results(found) == {}
    assert found.static_bytes == 4
    assert found.unknown == ["0003, n.asm:2"]
