"""Least and most of routines, counted by hand and attained by runs.

T-states of the instructions are those of the MCS-80/85 Family User's Manual, October 1979,
instruction set chapter (value from memory): MVI 7, LXI 10, MOV r,r 4, MOV r,M 7, DCR 4,
DCX 6, ALU r 4, ALU immediate 7, Jcc 10 or 7, Rcc 12 or 6, RET 10, CALL 18, Ccc 18 or 9,
PUSH 12, POP 10, OUT and IN 10, LDA and STA 13, PCHL 6.
"""

from __future__ import annotations

import pytest

from emu85.errors import UserError
from emu85.testing.calling import Given
from emu85.timing.duration.folding import folded
from tests.timing.duration.analysed import followed, image_of, measured, span

CASES: dict[str, tuple[str, int, int, Given, Given]] = {
    # name: (text, least by hand, most by hand, registers for the least, for the most)
    "straight on": ("R: MOV A,B\n ADD C\n RET", 18, 18, {}, {}),
    "two ways": (
        # CPI 7, JZ 10 | JZ 7 and MVI 7; RET 10
        "R: CPI 5\n JZ X\n MVI B,1\nX: RET",
        27,
        31,
        {"a": 5},
        {"a": 6},
    ),
    "a return that is taken or not": (
        # ORA 4, RZ 12 | RZ 6, MVI 7, RET 10
        "R: ORA A\n RZ\n MVI B,1\n RET",
        16,
        27,
        {"a": 0},
        {"a": 1},
    ),
    "a call that is made or not": (
        # ORA 4, CZ 9, RET 10 | ORA 4, CZ 18, (NOP 4, RET 10), RET 10
        "R: ORA A\n CZ S\n RET\nS: NOP\n RET",
        23,
        46,
        {"a": 1},
        {"a": 0},
    ),
    # 7 + 10(4 + 10) - 3 + 10
    "a loop of a register": ("R: MVI B,10\nR1: DCR B\n JNZ R1\n RET", 154, 154, {}, {}),
    # 7 + 256(14) - 3 + 10
    "a loop from nought": ("R: MVI B,0\nR1: DCR B\n JNZ R1\n RET", 3598, 3598, {}, {}),
    # 10 + 1000(24) - 3 + 10
    "a loop of a pair": (
        "R: LXI D,1000\nR1: DCX D\n MOV A,E\n ORA D\n JNZ R1\n RET",
        24_017,
        24_017,
        {},
        {},
    ),
    # inner 7 + 5(14) - 3 = 74; 7 + 10(74 + 14) - 3 + 10
    "a loop in a loop": (
        "R: MVI B,10\nR1: MVI C,5\nR2: DCR C\n JNZ R2\n DCR B\n JNZ R1\n RET",
        894,
        894,
        {},
        {},
    ),
    # 7 + 7, 200 times 256(14) - 3, 200(14) - 3, 10
    "two loops with one head": (
        "R: MVI B,200\n MVI C,0\nR1: DCR C\n JNZ R1\n DCR B\n JNZ R1\n RET",
        719_021,
        719_021,
        {},
        {},
    ),
    # 7 + 4(4 + 4 + 7 + 10) - 3 + 10: B is 6, 7, 8, 9
    "a loop that counts up": (
        "R: MVI B,5\nR1: INR B\n MOV A,B\n CPI 9\n JNZ R1\n RET",
        114,
        114,
        {},
        {},
    ),
    # 7 + 3(4 + 4 + 6 + 4 + 10) + 4 + 4 + 12
    "a test before the body": (
        "R: MVI B,3\nR1: MOV A,B\n ORA A\n RZ\n DCR B\n JMP R1",
        111,
        111,
        {},
        {},
    ),
    # 7 + 6(4 + 7 + 10) - 3 + 10: 4 to 9, until it is not below 9
    "a loop that is left by a carry": (
        "R: MVI A,3\nR1: INR A\n CPI 9\n JC R1\n RET",
        140,
        140,
        {},
        {},
    ),
    "a count that is not known": (
        # 14 - 3 + 10 | 256(14) - 3 + 10
        "R: DCR B\n JNZ R\n RET",
        21,
        3591,
        {"b": 1},
        {"b": 0},
    ),
    "a count that a mask bounds": (
        # 7 + 4 + 4 and 1 or 16 passes of 14, less 3, and 10
        "R: ANI 0FH\n MOV B,A\n INR B\nR1: DCR B\n JNZ R1\n RET",
        36,
        246,
        {"a": 0xF0},
        {"a": 0x1F},
    ),
    "a count that a mask bounds, but not 0": (
        # 7 and RZ 12 | 7 + RZ 6 + 4 and 7 passes of 14, less 3, and 10
        "R: ANI 7\n RZ\n MOV B,A\nR1: DCR B\n JNZ R1\n RET",
        19,
        122,
        {"a": 0xF8},
        {"a": 0x0F},
    ),
    "a count that a mask bounds in a routine that is called": (
        # CALL 18, 7 + 7 + RET 10, 4, 4 or 7 passes of 14, less 3, and 10
        "R: CALL S\n MOV C,A\nR1: DCR C\n JNZ R1\n RET\nS: ANI 3\n ORI 4\n RET",
        18 + 24 + 4 + 4 * 14 - 3 + 10,
        18 + 24 + 4 + 7 * 14 - 3 + 10,
        {"a": 0},
        {"a": 3},
    ),
    "two conditions on one test": (
        # LDA 13, ORA 4; Z: JZ 10, JNZ 7, 2 NOPs 8 | NZ: JZ 7, NOP 4, JNZ 10; RET 10
        "R: MOV A,B\n ORA A\n JZ X\n NOP\nX: JNZ Y\n NOP\n NOP\nY: RET",
        4 + 4 + 7 + 4 + 10 + 10,
        4 + 4 + 10 + 7 + 8 + 10,
        {"b": 1},
        {"b": 0},
    ),
    "calls on both conditions of one test": (
        # ORA 4; NZ: CNZ 18 + NOP 4 + RET 10, CZ 9 | Z: CNZ 9, CZ 18 + 2 NOPs 8 + RET 10; RET 10
        "R: ORA A\n CNZ S\n CZ T\n RET\nS: NOP\n RET\nT: NOP\n NOP\n RET",
        4 + 32 + 9 + 10,
        4 + 9 + 36 + 10,
        {"a": 1},
        {"a": 0},
    ),
    "a loop that looks at its count": (
        # MVI 7; B is 3, 2, 1: MOV 4, CPI 7, JZ 7 and NOP 4 or JZ 10, DCR 4, JNZ 10 or 7; RET 10
        "R: MVI B,3\nR1: MOV A,B\n CPI 2\n JZ S\n NOP\nS: DCR B\n JNZ R1\n RET",
        7 + 2 * 11 + 10 + 3 * (4 + 7 + 4 + 10) - 3 + 10,
        7 + 2 * 11 + 10 + 3 * (4 + 7 + 4 + 10) - 3 + 10,
        {},
        {},
    ),
    "a triangle": (
        # MVI 7; for 3, 2, 1: MOV 4, so many times 14 less 3, DCR 4, JNZ 10, at last 7; RET 10
        "R: MVI C,3\nR1: MOV B,C\nR2: DCR B\n JNZ R2\n DCR C\n JNZ R1\n RET",
        7 + 3 * (4 - 3 + 14) + 6 * 14 - 3 + 10,
        7 + 3 * (4 - 3 + 14) + 6 * 14 - 3 + 10,
        {},
        {},
    ),
    "a bit that goes round into the carry": (
        # MVI 7, 8 times RRC 4 and JNC 10, at last 7; RET 10
        "R: MVI A,80H\nR1: RRC\n JNC R1\n RET",
        7 + 8 * 14 - 3 + 10,
        7 + 8 * 14 - 3 + 10,
        {},
        {},
    ),
    "a table of jumps": (
        # ANI 7, ADD 4, MOV 4, MVI 7, LXI 10, DAD 10, MOV 7, INX 6, MOV 7, MOV 4, PCHL 6 = 72
        "R: ANI 1\n ADD A\n MOV E,A\n MVI D,0\n LXI H,T\n DAD D\n MOV A,M\n INX H\n MOV H,M\n"
        " MOV L,A\n PCHL\nT: DW T0,T1\nT0: RET\nT1: NOP\n RET",
        82,
        86,
        {"a": 4},
        {"a": 7},
    ),
    "a loop that may be left early": (
        # 7 (MVI), 4 + 7 + RZ 12 | 7 + 3(4 + 7 + 6 + 4 + 10) - 3 + 10
        "R: MVI B,3\nR1: MOV A,C\n CPI 5\n RZ\n DCR B\n JNZ R1\n RET",
        30,
        107,
        {"c": 5},
        {"c": 6},
    ),
    # PUSH 12, 7 + 3(18 + S + 14) - 3, POP 10, RET 10; S = 12 + 7 + 7(14) - 3 + 10 + 10 = 134
    "a call in a loop that keeps its counter": (
        "R: PUSH B\n MVI B,3\nR1: CALL S\n DCR B\n JNZ R1\n POP B\n RET\n"
        "S: PUSH B\n MVI B,7\nS1: DCR B\n JNZ S1\n POP B\n RET",
        534,
        534,
        {},
        {},
    ),
    # CALLs 36, MVIs 14, RET 10; S is n(14) - 3 + 10 for n = 2 and 9
    "a routine called with one count and another": (
        "R: MVI C,2\n CALL S\n MVI C,9\n CALL S\n RET\nS: DCR C\n JNZ S\n RET",
        228,
        228,
        {},
        {},
    ),
    # CALL 18; XTHL 16, MOV 7, INX 6, XTHL 16, RET 10; RET 10
    "a byte behind the call": (
        "R: CALL S\n DB 76H\n RET\nS: XTHL\n MOV A,M\n INX H\n XTHL\n RET",
        83,
        83,
        {"hl": 0x8000},
        {"hl": 0x8000},
    ),
    # LXI 10, PUSH 12, RET 10; RET 10
    "an address that is pushed and returned to": (
        "R: LXI H,R9\n PUSH H\n RET\nR9: RET",
        42,
        42,
        {},
        {},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_cases_counted_by_hand_are_told_and_attained(name: str) -> None:
    text, least, most, low, high = CASES[name]
    image = image_of(text)
    result = followed(image)
    assert span(result) == (least, most)
    assert not result.why
    assert measured(image, **low) == least
    assert measured(image, **high) == most


def test_wait_states_of_code_memory_ports_and_stack() -> None:
    """A wait in each read of ROM, 3 in RAM, 2 at the port.

    LDA 13: 3 from ROM, 1 of RAM: + 3 + 3; OUT 10: 2 and the port: + 2 + 2; PUSH 12: 1 and 2:
    + 1 + 6; POP 10 alike; MVI 7 + 2; RET 10: + 1 + 6.
    """
    image = image_of("R: LDA 8000H\n OUT 30H\n PUSH B\n POP B\n MVI A,1\n RET")
    assert span(followed(image, 1, 3)) == (19 + 14 + 19 + 17 + 9 + 17,) * 2
    assert measured(image, 1, 3) == 95


def test_memory_at_an_address_that_is_not_known_has_the_waits_of_any() -> None:
    """MOV A,M 7 with one wait in its fetch and up to 3 in its read; RET 10 + 1 + 6."""
    image = image_of("R: MOV A,M\n RET")
    assert span(followed(image, 1, 3)) == (8 + 17, 8 + 3 + 17)
    assert measured(image, 1, 3, hl=0xA000) == 25  # where no chip is
    assert measured(image, 1, 3, hl=0x0100) == 26
    assert measured(image, 1, 3, hl=0x8000) == 28


def test_a_loop_that_depends_on_a_port_has_no_most_unless_it_is_limited() -> None:
    """IN 10 and 2 waits, ANI 7, JZ 10 or 7, RET 10: 36, and 29 for each pass more."""
    image = image_of("R: IN 30H\n ANI 80H\n JZ R\n RET")
    result = followed(image)
    assert span(result) == (36, None)
    [loop] = result.loops
    assert loop.loop.about == "depends on JZ R at 0104 (flags of ANI 80H at 0102)"
    assert loop.loop.pass_ is not None
    assert loop.loop.pass_.least.t == 29
    assert span(followed(image, at_most={"R": 20})) == (36, 36 + 19 * 29)


def test_a_limit_of_a_loop_that_is_closer_than_its_own() -> None:
    image = image_of("R: DCR B\n JNZ R\n RET")
    assert span(followed(image, at_most={"R": 5})) == (21, 5 * 14 - 3 + 10)


@pytest.mark.parametrize(
    ("text", "least", "why"),
    [
        ("R: PCHL", 6, "nothing tells where PCHL goes (at 0100)"),
        ("R: HLT\n RET", 15, "HLT waits for an interrupt (at 0100)"),
        ("R: DCR B\n CNZ R\n RET", 23, "the routine at 0100 calls itself (at 0101)"),
        ("R: RZ\n JMP 5000H", 12, "no code of the image is at 5000 (at 0101)"),
    ],
)
def test_what_has_no_most_and_why(text: str, least: int, why: str) -> None:
    result = followed(image_of(text))
    assert span(result) == (least, None)
    assert result.why == (why,)


def test_a_routine_that_never_returns_has_neither() -> None:
    result = followed(image_of("R: NOP\nR1: OUT 30H\n JMP R1"))
    assert result.ways is None
    assert [loop.loop.about for loop in result.loops] == ["nothing leads out of it"]


def test_what_decides_the_way_is_known_where_it_is_known() -> None:
    """XRA A sets Z, so JZ jumps: 4 + 10 + 10."""
    image = image_of("R: XRA A\n JZ X\n CALL R\nX: RET")
    assert span(followed(image)) == (24, 24)


def test_a_loop_entered_in_its_middle_is_told_as_such() -> None:
    image = image_of("R: ORA A\n JZ R2\nR1: DCR B\nR2: DCR C\n JNZ R1\n RET")
    result = followed(image)
    assert span(result) == (4 + 10 + 4 + 7 + 10, None)
    assert [loop.loop.about for loop in result.loops] == ["it is entered at several places"]


def test_no_code_at_the_address() -> None:
    with pytest.raises(UserError, match="no code of the image is at 9000"):
        followed(image_of("R EQU 9000H\n NOP"))


def test_an_operand_that_runs_into_padding_is_part_of_its_instruction() -> None:
    """JMP 10, RET 10; FF of the address and four more are what an erased EPROM holds."""
    image = image_of("R: JMP 0FF10H\n DB 0FFH,0FFH,0FFH,0FFH\n ORG 0FF10H\n RET")
    assert span(followed(image)) == (20, 20)


def test_an_opcode_that_is_padding_is_none() -> None:
    with pytest.raises(UserError, match="no code of the image is at 0100"):
        followed(image_of("R: DB 0FFH,0FFH,0FFH,0FFH,0FFH"))


def test_the_way_is_told_step_by_step() -> None:
    ways = followed(image_of("R: MVI B,10\nR1: DCR B\n JNZ R1\n RET")).ways
    assert ways is not None
    told = list(folded(ways.least).told())
    assert [(one.depth, one.step.address if one.step else one.passes) for one in told] == [
        (0, 0x100),
        (0, 9),
        (1, 0x102),
        (1, 0x103),
        (0, 0x102),
        (0, 0x103),
        (0, 0x106),
    ]
    assert told[1].pass_t == 14
