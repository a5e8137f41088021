"""Routines called from outside: T-states counted by hand, and every way to go wrong.

T-states of single instructions are those of the User's Manual, October 1979, chapter 5
(values from memory).
"""

from __future__ import annotations

from typing import Any

import pytest

from emu85.bus.lines import Line
from emu85.errors import UserError
from emu85.firmware import Image, assemble
from emu85.profile.lines import counted_rows, coverage
from emu85.testing.board import PLAIN
from emu85.testing.failure import BoardFailure
from tests.profile.watched import watched
from tests.testing.boards import board

MULTIPLY = """
TIMES:  LXI     H,0             ; 10
        MVI     B,8             ; 7
BIT:    DAD     H               ; 10
        ADD     A               ; 4
        JNC     NEXT            ; 10 taken, 7 not
        DAD     D               ; 10
NEXT:   DCR     B               ; 4
        JNZ     BIT             ; 10 taken, 7 not
        RET                     ; 10
OTHER:  NOP
        RET
"""
"""HL = A x DE, bit by bit from the top."""


def multiply_t(a: int) -> int:
    ones = a.bit_count()
    each = 10 + 4 + 4 + 10
    return 10 + 7 + 8 * each + (8 - ones) * 10 + ones * (7 + 10) - 3 + 10


@pytest.mark.parametrize(("a", "de"), [(0, 99), (0xFF, 257), (0x5A, 300), (1, 0xFFFF)])
def test_it_computes_and_takes_the_time_the_manual_says(a: int, de: int) -> None:
    done = board(MULTIPLY).call("TIMES", a=a, de=de)
    assert done.registers.hl == a * de & 0xFFFF
    assert done.registers.b == 0
    assert done.registers.z == 1
    assert done.t_states == multiply_t(a)


@pytest.mark.parametrize(
    ("text", "t_states"),
    [
        (" RET", 10),
        (" STC\n RC", 4 + 12),
        (" STC\n RNC\n RET", 4 + 6 + 10),
        (" CALL SELF\n RET\nSELF: RET", 18 + 10 + 10),
        (" CALL NEXT\nNEXT: RET", 18 + 10 + 10),
        (" XTHL\n XTHL\n RET", 16 + 16 + 10),
        (" POP H\n PCHL", 10 + 6),
        (" POP H\n PUSH H\n RET", 10 + 12 + 10),
        (" LXI H,0\n DAD SP\n LXI SP,9000H\n PUSH B\n SPHL\n RET", 10 + 10 + 10 + 12 + 6 + 10),
    ],
)
def test_every_way_to_return(text: str, t_states: int) -> None:
    under = board(f"ENTRY: {text.strip()}\n")
    done = under.call("ENTRY", sp=0xA000)
    assert done.t_states == t_states
    assert done.registers.sp == 0xA000


def test_a_routine_that_calls_itself_returns_once_to_the_caller() -> None:
    text = "DOWN: DCR A\n CNZ DOWN\n INR B\n RET\n"
    done = board(text).call("DOWN", a=5, b=0)
    assert done.registers.b == 5
    # DCR 4, CNZ 18 taken and 9 not, INR 4, RET 10.
    assert done.t_states == 5 * (4 + 4 + 10) + 4 * 18 + 9


def test_wait_states_count() -> None:
    slow = """
name: slow
crystal: 2 MHz
memory:
  - {rom: 4K, name: program, at: 0000-0FFF}
  - {ram: 4K, name: work, at: 8000-8FFF, waits: 3}
"""
    # RET reads two bytes of the stack.
    assert board("GO: RET", on=slow).call("GO").t_states == 10 + 2 * 3


def test_a_call_longer_than_the_trace_is_counted_whole() -> None:
    text = "DELAY: DCR B\n JNZ DELAY\n RET\n"
    done = board(text, trace=50).call("DELAY", b=0)
    assert done.t_states == 256 * 14 - 3 + 10
    assert int(done.execution.fetches[0]) == 256


def test_registers_pairs_and_flags_are_set_and_read() -> None:
    done = board("SAME: RET").call("SAME", psw=0x1200, bc=0x3456, hl=0x9ABC, l=1, cy=1, z=1, ie=1)
    registers = done.registers
    assert (registers.a, registers.bc, registers.hl) == (0x12, 0x3456, 0x9A01)
    # S Z K AC 0 P V CY, bit 7 first: the manual's, and Dehnhardt & Sorensen's for K and V.
    assert registers.f == 0b0100_0001
    assert registers.ie == 1


def test_an_outcome_stays_when_the_next_call_is_made() -> None:
    under = board("MORE: INR A\n RET")
    first = under.call("MORE", a=1)
    second = under.call("MORE")
    assert (first.registers.a, second.registers.a) == (2, 1)  # of 1, and of 0 at power-on
    assert first.registers.sp == second.registers.sp


def test_memory_is_put_there_and_read_back() -> None:
    text = """
SUM:    LXI     H,LIST
        MOV     B,M
        XRA     A
ADDUP:  INX     H
        ADD     M
        DCR     B
        JNZ     ADDUP
        STA     TOTAL
        RET
        ORG     9000H
LIST:   DS      4
TOTAL:  DS      1
"""
    under = board(text)
    done = under.call("sum", memory={"LIST": [3, 10, 20, 30], 0x9005: b"\xaa"})
    assert under.read("TOTAL") == bytes([60])
    assert under.read(0x9000, 6) == bytes([3, 10, 20, 30, 60, 0xAA])
    assert list(under.machine.findings) == []
    assert done.execution.reads[0x9000:0x9004].tolist() == [1, 1, 1, 1]


def test_what_was_executed() -> None:
    under = board(MULTIPLY)
    never = under.call("TIMES", a=0, de=1)
    # LXI 0000, MVI 0003, DAD H 0005, ADD 0006, JNC 0007, DAD D 000A, DCR 000B, JNZ 000C, RET 000F
    assert never.executed == {0, 3, 5, 6, 7, 0xB, 0xC, 0xF}
    assert (never.start, never.end) == (0, 0x10)
    assert never.missed == (0x0A,)
    assert never.share == 15 / 16
    assert under.call("TIMES", a=1, de=1).share == 1


def test_a_routine_ends_at_the_first_label_it_does_not_lead_to() -> None:
    text = "FIRST: JZ DONE\n CALL LAST\nDONE: RET\n DB 1,2\nLAST: RET\nTABLE: DB 3\nK EQU 4\n"
    under = board(text)
    first = under.call("FIRST", z=1)
    assert (first.start, first.end) == (0, 9)
    # CALL at 3 to 5; the bytes behind RET are data.
    assert first.missed == (3, 4, 5)
    assert under.call("LAST").end == 10


def test_a_routine_on_a_board_without_a_gap_has_a_return_address() -> None:
    full = """
name: full
crystal: 2 MHz
memory:
  - {rom: 32K, name: program, at: 0000-7FFF}
  - {ram: 32K, name: work, at: 8000-FFFF}
"""
    done = board("GO: INX H\n RET", on=full).call("GO", hl=0xFFFF)
    assert (done.registers.hl, done.t_states, done.registers.sp) == (0, 6 + 10, 0)


def test_a_halt_that_an_interrupt_ends_is_waited_for() -> None:
    text = "WAIT: EI\n HLT\n RET\n ORG 3CH\n MVI C,7\n RET\n"
    ticking = """
name: ticking
crystal: 2 MHz
memory:
  - {rom: 4K, name: program, at: 0000-0FFF}
  - {ram: 4K, name: work, at: 8000-8FFF}
wired:
  - {device: oscillator, name: tick, rate: 1 kHz}
lines:
  RST 7.5: tick.out
"""
    done = board(text, on=ticking).call("WAIT", masks=0)
    assert done.registers.c == 7
    assert 10 < done.t_states < 2000


DATA_INSIDE = """
SAY:    CALL    PASS            ; passes over the byte behind its CALL
        DB      55H
        CALL    TEXT
        DB      'in the middle',0
        DB      3CH             ; INR A
        JZ      EARLY
        RET
EARLY:  RET
PASS:   XTHL
        INX     H
        XTHL
        RET
TEXT:   POP     H
MORE:   MOV     A,M
        INX     H
        ORA     A
        JNZ     MORE
        PCHL
"""
SAY_BYTES = 3 + 3 + 1 + 3 + 1 + 1
"""Of its instructions: two CALLs, the INR A, JZ and two RET."""


@pytest.mark.parametrize("with_source", [True, False])
def test_data_in_a_routine_is_no_code_that_was_missed(with_source: bool) -> None:
    under = board(DATA_INSIDE)
    if not with_source:
        image = assemble(DATA_INSIDE, "").image
        under = board()
        under.machine.load(Image(image.segments, image.symbols, runs=image.runs))
    first = under.call("SAY")
    early = under.address("EARLY")
    assert first.missed == (early,)
    assert first.share == pytest.approx((SAY_BYTES - 1) / SAY_BYTES)
    assert first.executed.isdisjoint({3})


def test_the_share_is_that_of_the_profile() -> None:
    source = f"        LXI SP,9000H\n CALL SAY\n HLT\n{DATA_INSIDE}"
    _, figures = watched(source, t_states=2000)
    counted = coverage(counted_rows(assemble(source, "").rows, figures.execution))
    others = (3 + 3 + 1) + 4 + 8  # those before SAY; PASS; TEXT
    assert counted == (SAY_BYTES - 1 + others, SAY_BYTES + others)
    assert board(source).call("SAY").share == pytest.approx((SAY_BYTES - 1) / SAY_BYTES)


# --- the program that was running ---------------------------------------------------

RUNNING = """
        LXI     SP,9000H
        LXI     H,8100H
        MVI     A,1
        EI
NEXT:   PUSH    PSW
        PUSH    H
        CALL    PUT
        POP     H
        XTHL
        XTHL
        POP     PSW
        INX     H
        RLC
        JNC     NEXT
        HLT
        MVI     M,77H
        HLT
PUT:    MOV     M,A
        LDA     8100H
        RET
        ORG     3CH
        RET
SPOIL:  LXI     H,0
        LXI     B,1111H
        LXI     D,2222H
        PUSH    B
        PUSH    D
        XRA     A
        DI
        MVI     A,0FH
        SIM
        POP     D
        POP     B
        LXI     SP,0A000H
        LHLD    8200H
        SPHL
        RET
SAVE:   LXI     H,0
        DAD     SP
        SHLD    8200H
        JMP     SPOIL
"""
"""Powers of two from 8100 on, and a routine that leaves no register as it was."""


def test_a_call_between_any_two_machine_cycles_changes_nothing_for_the_program() -> None:
    """In the middle of instructions, acknowledges apart, and in the halt at its end."""
    for cycles in range(1, 300, 7):
        under = board(RUNNING)
        under.machine.step(cycles)
        registers = under.machine.registers
        names = ("psw", "bc", "de", "hl", "sp", "pc", "ie", "masks", "boundary", "halted")
        before = [getattr(registers, name) for name in names]
        done = under.call("SAVE", de=5, ie=1, masks=0)
        assert (done.registers.de, done.registers.ie, done.registers.masks) == (0x2222, 0, 7)
        assert [getattr(registers, name) for name in names] == before
        under.machine.run(t_states=5000, wait=True)
        assert registers.halted
        assert under.read(0x8100, 9) == bytes([1, 2, 4, 8, 16, 32, 64, 128, 0])


def test_a_program_that_was_halted_is_so_again_and_wakes() -> None:
    under = board(RUNNING)
    machine = under.machine
    machine.run(t_states=5000, wait=True)
    assert machine.registers.halted
    machine.registers.masks = 0
    under.call("SAVE")
    assert machine.registers.halted
    machine.drive(Line.RST75, 1)
    machine.run(t_states=200, wait=True)
    # RST 7.5 was served, and the program went on behind its HLT.
    assert under.read(0x8108) == b"\x77"


# --- code in RAM ---------------------------------------------------------------------


def test_a_routine_may_run_code_that_it_has_written_into_ram() -> None:
    under = board("X: MVI A,0C9H\n STA 9000H\n CALL 9000H\n RET")
    # MVI 7, STA 13, CALL 18, RET 10 twice.
    assert under.call("X").t_states == 7 + 13 + 18 + 10 + 10
    assert list(under.machine.findings) == []


def test_a_routine_may_run_code_that_the_test_has_written_into_ram() -> None:
    under = board("X: CALL 9000H\n RET")
    assert under.call("X", memory={0x9000: b"\x3e\x05\xc9"}).registers.a == 5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("X: CALL 9000H\n RET", "X ran away to 9000, by 0000 X, CALL 9000H"),
        (
            "X: LXI H,9000H\n MVI M,3CH\n PCHL\n",
            "X ran away to 9001, by 9000, INR A",
        ),
    ],
)
def test_ram_that_nobody_has_written_is_no_code(text: str, told: str) -> None:
    with pytest.raises(BoardFailure, match=told):
        board(text).call("X")


def test_ram_of_another_board_has_no_code_unless_it_says_so() -> None:
    text = "X: MVI A,0C9H\n STA 9000H\n CALL 9000H\n RET"
    described = PLAIN.replace(", code: yes", "")
    with pytest.raises(BoardFailure, match="X ran away to 9000"):
        board(text, on=described).call("X")


# --- what goes wrong -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "BAD: POP D\n RET",
            "BAD took more off the stack than it put there, by 0001 BAD+1, RET\n"
            "2 bytes too many taken off the stack: SP is A002",
        ),
        (
            "BAD: POP D\n POP D\n RET",
            "BAD took more off the stack than it put there, by 0001 BAD+1, POP D\n"
            "2 bytes too many taken off the stack: SP is A002",
        ),
        (
            "BAD: PUSH D\n RET",
            "BAD ran away to 7654, by 0001 BAD+1, RET\n"
            "the return address is still on the stack: SP is 9FFE",
        ),
        (
            "BAD: PUSH D\n PUSH D\n RET",
            "BAD ran away to 7654, by 0002 BAD+2, RET\n"
            "the return address is still on the stack, and 2 bytes more: SP is 9FFC",
        ),
        (
            "BAD: NOP",
            "BAD ran away to 0001, by 0000 BAD, NOP\n"
            "the return address is still on the stack: SP is 9FFE",
        ),
        (
            "BAD: POP H\n INX SP\n PCHL",
            "BAD returned with the stack at another level\n"
            "1 byte too many taken off the stack: SP is A001",
        ),
        (
            "BAD: INX SP\n HLT",
            "BAD is halted, by 0001 BAD+1, HLT, and nothing on the board will wake it\n"
            "half the return address is on the stack: SP is 9FFF",
        ),
        (
            "BAD: POP H\n JMP $",
            "BAD did not return within 500 T (162.8 us); it is at 0001 BAD+1\n"
            "the return address has been taken off the stack: SP is A000",
        ),
    ],
)
def test_a_call_that_does_not_return_says_why(text: str, told: str) -> None:
    under = board(text)
    with pytest.raises(BoardFailure) as caught:
        under.call("BAD", limit=500, sp=0xA000, de=0x7654)
    assert str(caught.value) == told
    assert len(under.machine.stops.table) == 0


def test_the_limit_is_the_most_it_may_take() -> None:
    under = board(MULTIPLY)
    assert under.call("TIMES", a=3, limit=multiply_t(3)).t_states == multiply_t(3)
    with pytest.raises(BoardFailure, match="did not return within"):
        under.call("TIMES", a=3, limit=multiply_t(3) - 1)


def test_the_limit_may_be_a_text() -> None:
    """The plain board's clock is 3.072 MHz."""
    under = board("LONG: DCX D\n MOV A,D\n ORA E\n JNZ LONG\n RET")
    # DCX 6, MOV 4, ORA 4, JNZ 10 or 7, RET 10.
    assert under.call("LONG", de=2000, limit="20 ms").t_states == 24 * 2000 - 3 + 10
    with pytest.raises(BoardFailure, match=r"did not return within 30720 T \(10 ms\)"):
        under.call("LONG", de=2000, limit="10 ms")


def test_a_stop_of_the_tests_own_is_told() -> None:
    under = board(MULTIPLY)
    under.machine.stops.add("on OF at 5")
    with pytest.raises(BoardFailure, match=r"Held by stop 1 \(on OF at 5\): opcode fetch"):
        under.call("TIMES")


@pytest.mark.parametrize(
    ("routine", "arguments", "told"),
    [
        ("TIMSE", {}, "there is no symbol 'TIMSE'.* did you mean 'TIMES'"),
        (0x10000, {}, "10000 is no address"),
        ("TIMES", {"hk": 1}, "'hk' is no register or flag; expected one of psw, bc"),
        ("TIMES", {"a": 256}, "A"),
        ("TIMES", {"a": -1}, "A takes 0 to FF hexadecimal, not -1"),
        ("TIMES", {"a": 1.7}, "a cannot be 1.7; expected a whole number"),
        ("TIMES", {"bc": 1, "a": "3"}, "a cannot be '3'; expected a whole number"),
        (1.5, {}, "a place cannot be 1.5; expected an address, or the name"),
        ("TIMES", {"limit": -5}, "-5 is no time; expected T-states, or a time such as 2 ms"),
        ("TIMES", {"limit": 0}, "0 is no time"),
        ("TIMES", {"limit": 2.5}, "2.5 is no time"),
        ("TIMES", {"limit": "5 parsecs"}, "'parsecs' is not a unit of time"),
        ("TIMES", {"memory": [1, 2]}, "memory cannot be .1, 2.; expected a dictionary"),
        ("TIMES", {"memory": {"TIMES": 256}}, "256 is no byte"),
        ("TIMES", {"memory": {"TIMES": "abc"}}, "'abc' is a text; expected bytes, such as b'abc'"),
        ("TIMES", {"memory": {0xFFFF: b"ab"}}, "2 bytes from FFFF on"),
        ("TIMES", {"memory": {0xD000: 1}}, "no memory at address D000"),
        ("TIMES", {"sp": 0xD000}, "no memory at address CFFE"),
    ],
)
def test_mistakes_of_the_test(routine: Any, arguments: dict[str, Any], told: str) -> None:
    under = board(MULTIPLY)
    before = under.machine.registers.state.tolist()
    with pytest.raises(UserError, match=told):
        under.call(routine, **arguments)
    assert under.machine.registers.state.tolist() == before


def test_a_board_without_ram_has_no_stack() -> None:
    rom = "name: rom\ncrystal: 2 MHz\nmemory:\n  - {rom: 4K, name: program, at: 0000-0FFF}\n"
    with pytest.raises(UserError, match="no RAM for a return address"):
        board("GO: RET", on=rom).call("GO")
