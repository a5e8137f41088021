"""T-states by routine, against counts by hand.

The figures in the comments are those of the Intel MCS-80/85 Family User's Manual, October
1979, instruction set (values from memory): CALL 18, not taken 9; RET 10; Rcc taken 12, not
6; PUSH 12; POP 10; XTHL 16; PCHL 6; SPHL 6; INX SP 6; LXI 10; JMP 10; RST 12; an
acknowledge of RST x.5 12 (section 2.3).
"""

from __future__ import annotations

import pytest

from emu85.bus.lines import Line
from emu85.profile.routines import Begun
from emu85.profile.watch import Watch
from tests.profile.watched import assert_whole, row_of, spent_of, watched
from tests.rig import rig

HEAD = "        LXI     SP,9000H        ; 10\n"


def test_calls_own_time_and_time_with_callees() -> None:
    outer, inner = spent_of(
        HEAD
        + """
        CALL    OUTER           ; 18, the caller's
        CALL    INNER
        HLT
OUTER:  MVI     B,2             ; 7
AGAIN:  CALL    INNER           ; 18 each
        DCR     B               ; 4 each
        JNZ     AGAIN           ; 10, then 7
        RET                     ; 10
INNER:  NOP                     ; 4
        RET                     ; 10
""",
        "OUTER",
        "INNER",
    )
    assert (outer.calls, outer.own) == (1, 7 + 2 * (18 + 4) + 10 + 7 + 10)
    assert outer.whole == outer.least == outer.most == outer.own + 2 * 14
    assert (inner.calls, inner.own, inner.whole) == (3, 3 * 14, 3 * 14)
    assert (inner.least, inner.mean, inner.most, inner.left) == (14, 14, 14, 0)


def test_least_and_most_differ_and_conditions_count_only_when_taken() -> None:
    (once,) = spent_of(
        HEAD
        + """
        XRA     A               ; Z
        CNZ     ONCE            ; not taken
        CZ      ONCE            ; RZ: 12
        INR     A               ; no Z
        CNZ     ONCE            ; RZ not taken 6, NOP 4, RNZ 12
        HLT
ONCE:   RZ
        NOP
        RNZ
""",
        "ONCE",
    )
    assert (once.calls, once.least, once.most, once.own) == (2, 12, 22, 34)


def test_recursion_counts_each_call_and_its_time_once() -> None:
    (down,) = spent_of(
        HEAD
        + """
        MVI     B,3
        CALL    DOWN
        HLT
DOWN:   DCR     B               ; 4
        RZ                      ; 6, then 12
        CALL    DOWN            ; 18
        RET                     ; 10
""",
        "DOWN",
    )
    innermost, middle = 4 + 12, 4 + 6 + 18 + 16 + 10
    outermost = 4 + 6 + 18 + middle + 10
    assert down.calls == down.over == 3
    assert down.own == down.whole == outermost
    assert (down.least, down.most) == (innermost, outermost)
    assert down.total == innermost + middle + outermost


def test_a_restart_is_a_call() -> None:
    (handler,) = spent_of(
        """
        JMP     START
        ORG     8
HANDLE: NOP                     ; 4
        RET                     ; 10
        ORG     40H
START:  LXI     SP,9000H
        RST     1               ; 12, the caller's
        HLT
""",
        "HANDLE",
    )
    assert (handler.calls, handler.own) == (1, 14)


# --- tricks with the return address -----------------------------------------------


def test_text_after_the_call_is_read_by_the_routine_itself() -> None:
    """POP, a loop with calls and jumps, PCHL: an activation from beginning to end."""
    text, put = spent_of(
        HEAD
        + """
        CALL    TEXT
        DB      1,2,0
        HLT
TEXT:   POP     H               ; 10
NEXT:   MOV     A,M             ; 7, three times
        INX     H               ; 6
        ORA     A               ; 4
        JZ      BACK            ; 7, 7, 10
        CALL    PUT             ; 18, twice
        JMP     NEXT            ; 10, twice
BACK:   PCHL                    ; 6
PUT:    RET                     ; 10
""",
        "TEXT",
        "PUT",
    )
    assert text.own == 10 + 3 * (7 + 6 + 4) + 7 + 7 + 10 + 2 * (18 + 10) + 6
    assert (text.calls, text.over, text.left, text.whole) == (1, 1, 0, text.own + 2 * 10)
    assert (put.calls, put.own) == (2, 20)


@pytest.mark.parametrize(
    ("trick", "took"),
    [
        ("POP H\n INX H\n PUSH H\n RET", 10 + 6 + 12 + 10),
        ("XTHL\n INX H\n XTHL\n RET", 16 + 6 + 16 + 10),
        ("INX SP\n INX SP\n DCX SP\n DCX SP\n POP H\n INX H\n PCHL", 4 * 6 + 10 + 6 + 6),
        ("POP H\n PUSH B\n POP B\n INX H\n PCHL", 10 + 12 + 10 + 6 + 6),
    ],
)
def test_a_byte_after_the_call_is_passed_over(trick: str, took: int) -> None:
    (routine,) = spent_of(f"{HEAD} CALL R\n DB 0\n HLT\nR: {trick}\n END", "R")
    assert (routine.own, routine.whole, routine.over, routine.left) == (took, took, 1, 0)


def test_arguments_taken_off_the_stack_by_the_routine() -> None:
    outer, inner = spent_of(
        HEAD
        + """
        CALL    OUTER
        HLT
OUTER:  PUSH    B               ; 12
        CALL    INNER           ; 18
        RET                     ; 10
INNER:  POP     H               ; 10, its return address
        POP     D               ; 10, the argument
        PCHL                    ; 6
""",
        "OUTER",
        "INNER",
    )
    assert (inner.own, inner.left) == (26, 0)
    assert (outer.own, outer.whole, outer.left) == (40, 66, 0)


def test_a_return_to_the_callers_caller() -> None:
    """POP of its own return address, then RET: both are over, one of them by it."""
    outer, inner = spent_of(
        HEAD
        + """
        CALL    OUTER
        HLT
OUTER:  CALL    INNER           ; 18
        HLT
INNER:  POP     H               ; 10
        RET                     ; 10
""",
        "OUTER",
        "INNER",
    )
    assert (inner.own, inner.whole) == (20, 20)
    assert (outer.own, outer.whole, outer.over) == (18, 38, 1)


def test_a_dispatch_by_push_and_ret_is_a_jump() -> None:
    (routine,) = spent_of(
        HEAD
        + """
        CALL    R
        HLT
R:      LXI     H,THERE         ; 10
        PUSH    H               ; 12
        RET                     ; 10
THERE:  NOP                     ; 4
        RET                     ; 10
""",
        "R",
    )
    assert (routine.calls, routine.own, routine.left) == (1, 46, 0)


def test_a_jump_table_by_pchl_stays_in_the_routine() -> None:
    (routine,) = spent_of(
        f"{HEAD} CALL R\n HLT\nR: LXI H,T\n PCHL\nT: RET\n END", "R"
    )  # fmt: skip
    assert routine.own == 10 + 6 + 10


def test_a_warm_start_ends_all_that_was_under_way() -> None:
    """LXI SP throws the stack away; what comes then is no routine's any more."""
    program = """
        JMP     START
WARM:   LXI     SP,9000H        ; 10
        DCR     C               ; 4
        JZ      STOP            ; 7, then 10
        CALL    OUTER           ; 18
STOP:   HLT
START:  MVI     C,3
        JMP     WARM
OUTER:  CALL    INNER           ; 18
INNER:  JMP     WARM            ; 10
"""
    outer, inner = spent_of(program, "OUTER", "INNER")
    assert (outer.calls, outer.own, outer.left) == (2, 36, 2)
    # LXI SP itself still belongs to what it throws away.
    assert (inner.calls, inner.own, inner.left) == (2, 2 * (10 + 10), 2)


def test_a_routine_that_drops_its_return_address_and_goes_back_by_a_jump() -> None:
    """A jump to code of the routine that waits, with the return address gone."""
    program = (
        HEAD
        + """
        MVI     C,3
MAIN:   DCR     C               ; 4
        JZ      STOP
        CALL    R
STOP:   HLT
R:      POP     H               ; 10
        JMP     MAIN            ; 10
"""
    )
    (routine,) = spent_of(program, "R")
    assert (routine.calls, routine.own, routine.left) == (2, 40, 2)


def test_a_stack_of_its_own() -> None:
    """A routine that works on another stack, higher up, and returns on the first."""
    outer, inner = spent_of(
        """
        LXI     SP,8400H
        CALL    OUTER
        HLT
OUTER:  LXI     H,0             ; 10
        DAD     SP              ; 10
        XCHG                    ; 4
        LXI     H,9000H         ; 10
        SPHL                    ; 6
        CALL    INNER           ; 18
        XCHG                    ; 4
        SPHL                    ; 6
        RET                     ; 10
INNER:  RET                     ; 10
""",
        "OUTER",
        "INNER",
    )
    assert (outer.own, outer.whole, outer.left) == (78, 88, 0)
    assert (inner.own, inner.left) == (10, 0)


def test_endless_recursion_fills_the_stack_and_no_more() -> None:
    _, figures = watched("        LXI SP,9000H\nR: CALL R", t_states=20_000 * 18)
    assert_whole(figures)
    row = row_of(figures, 3)
    assert row.calls >= 19_000


# --- interrupts --------------------------------------------------------------------


def test_an_interrupts_time_is_nobody_elses() -> None:
    machine = rig(
        """
        JMP     START
        ORG     34H
        PUSH    PSW             ; 12
        CALL    HELP            ; 18
        POP     PSW             ; 10
        EI                      ; 4
        RET                     ; 10
        ORG     40H
START:  LXI     SP,9000H        ; 10
        MVI     A,0DH           ; 7     RST 6.5 alone
        SIM                     ; 4
        EI                      ; 4
        CALL    WORK            ; 18
        HLT
WORK:   MVI     B,10            ; 7
LOOP:   DCR     B               ; 4
        JNZ     LOOP            ; 10, at last 7
        RET                     ; 10
HELP:   NOP                     ; 4
        RET                     ; 10
"""
    )
    watch = Watch(machine)
    machine.run(t_states=100)
    machine.board.adjust("key", "press")
    machine.run(t_states=20)
    machine.drive(Line.RST65, 0)
    machine.run(t_states=500, wait=True)
    figures = watch.figures()
    assert_whole(figures)
    service = row_of(figures, 0x34, Begun.RST65)
    help_, work = (row_of(figures, machine.symbols[name]) for name in ("HELP", "WORK"))
    assert (service.calls, service.own) == (1, 12 + 12 + 18 + 10 + 4 + 10)
    assert service.whole == service.least == service.own + 14
    assert (help_.own, help_.whole) == (14, 14)
    assert work.own == work.whole == 7 + 10 * 14 - 3 + 10


def test_halts_are_told_of_whoever_halted() -> None:
    machine, figures = watched("        LXI SP,9000H\n CALL R\n NOP\nR: HLT", t_states=500)
    row = row_of(figures, machine.symbols["R"])
    # LXI 10, CALL 18; of HLT's 5 T-states the fifth is the first of the halt.
    assert row.idle == figures.routines.halt_t == 500 - 10 - 18 - 4
    assert row.own == row.whole == row.idle + 4
    assert row.over == 0


def test_wait_states_and_ports() -> None:
    """Port 30 has one wait state on the rig, memory at C000 two: I/O cycles are three T-states."""
    _, figures = watched("        IN 0\n OUT 30H\n OUT 30H\n STA 0C000H\n HLT", t_states=200)
    counts = figures.routines
    assert (counts.port_t[0], counts.port_t[0x30]) == (3, 2 * 4)
    assert (counts.waits_at[0xC000], counts.waits_at[0x10030]) == (2, 2)
    assert counts.wait_t == 4


def test_reset_begins_anew() -> None:
    machine = rig("        LXI SP,9000H\nR: CALL R")
    watch = Watch(machine)
    machine.run(t_states=100)
    machine.reset()
    machine.run(t_states=100)
    figures = watch.figures()
    assert_whole(figures)
    started = row_of(figures, 0, Begun.STARTED)
    # Both times RESET (3 T-states, from memory), LXI, and the first CALL.
    assert (started.calls, started.own) == (2, 2 * (3 + 10 + 18))
    assert row_of(figures, 3).left == row_of(figures, 3).over
