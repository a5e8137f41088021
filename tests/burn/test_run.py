"""What a run shows: depth of the stack, waits of interrupts, coverage, against counts by hand."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest

from emu85.board import read_board
from emu85.burn import Driven, Limits, PlainRun, Result, Subject, Wanted, report, study
from emu85.burn.depth import Depth
from emu85.burn.probes import Probes
from emu85.burn.report import RunRow
from emu85.bus.lines import Line
from emu85.firmware import assemble
from emu85.machine import Machine
from emu85.profile.latency import Latencies, Latency
from tests.burn.bench import BOARD, examined, notes, program, results
from tests.rig import rig


def run_of(text: str, milliseconds: int = 20, board: Sequence[tuple[str, str]] = ()) -> RunRow:
    found = examined(assemble(text, "run.asm").image, *board, milliseconds=milliseconds)
    assert found.run is not None
    return found.run


def test_depth_counts_calls_pushes_restarts_and_xthl_but_not_stores() -> None:
    run = run_of(
        """
        LXI     SP,8800H
        LXI     H,8701H         ; a store in the stack's region is no push
        MVI     M,0
        CALL    ONE             ; 87FE
DONE:   JMP     DONE
        ORG     18H
        PUSH    H               ; 87F6
        XTHL
        POP     H
        RET
        ORG     40H
ONE:    PUSH    B               ; 87FC
        PUSH    PSW             ; 87FA
        RST     3               ; 87F8
        POP     PSW
        POP     B
        RET
        """
    )
    (stack,) = run.stacks
    assert (stack.low, stack.high, stack.deepest, stack.top) == (0x8700, 0x87FF, 0x87F6, 0x87FF)
    assert (stack.used, stack.left) == (10, 0xF6)


def test_an_interrupt_pushes_too() -> None:
    run = run_of(
        """
        LXI     SP,8800H
        MVI     A,0BH
        SIM
        EI
LOOP:   JMP     LOOP
        ORG     3CH
        EI
        RET
        """
    )
    assert [stack.deepest for stack in run.stacks] == [0x87FE]


@pytest.mark.parametrize("size", [7, 64, 1000])
def test_how_the_records_come_does_not_matter(size: int) -> None:
    machine = rig(
        """
        LXI     SP,9000H
        MVI     A,0DH
        SIM
        EI
LOOP:   PUSH    B
        POP     B
        JMP     LOOP
        ORG     34H
        PUSH    PSW
        MVI     A,5             ; until the key is up: a level asks again
LATER:  DCR     A
        JNZ     LATER
        POP     PSW
        EI
        RET
        """,
        trace=5000,
    )
    for _ in range(5):
        machine.run(t_states=200)
        machine.board.adjust("key", "press")
    machine.run(t_states=200)
    records = machine.trace.all()
    whole = Depth(), Latencies()
    cut = Depth(), Latencies()
    for taker in whole:
        taker.feed(records)
    for start in range(0, len(records), size):
        for taker in cut:
            taker.feed(records[start : start + size])
    assert (whole[0].pushed == cut[0].pushed).all()
    assert whole[1].rows() == cut[1].rows()
    assert whole[1].rows()[0].served == 5


def waits(text: str, *presses: int, end: int = 3000) -> dict[str, Latency]:
    """Waits on the rig, its key pressed so many T-states after power-on."""
    machine = rig(text, trace=5000)
    for press in presses:
        machine.schedule.at(press, lambda: machine.board.adjust("key", "press"))
    machine.run(t_states=end, wait=True)
    latencies = Latencies()
    latencies.feed(machine.trace.all())
    latencies.finish(machine.t)
    return {row.line: row for row in latencies.rows()}


SERVED = """
        LXI     SP,9000H        ; T-states 3 to 13
        MVI     A,0DH           ; to 20
        SIM                     ; to 24
        EI                      ; to 28
LOOP:   NOP
        JMP     LOOP            ; 14 a round, at 28 + 14 n
        ORG     34H
        PUSH    PSW
        MVI     A,5             ; until the key is up, 50 T-states after it went down
LATER:  DCR     A
        JNZ     LATER
        POP     PSW
        EI
        RET
"""


@pytest.mark.parametrize(
    ("press", "shown", "end"),
    [(100, 102, 102), (103, 106, 112), (107, 109, 112), (111, 112, 112), (112, 116, 116)],
)
def test_a_wait_for_the_end_of_the_instruction(press: int, shown: int, end: int) -> None:
    """The acknowledge takes 12 T-states (User's Manual, October 1979, section 2.3; value
    from memory).  NOP lasts from 98 to 102, JMP to 112 with cycles that begin at 102, 106
    and 109, NOP to 116."""
    row = waits(SERVED, press)["RST 6.5"]
    assert row.served == 1
    assert (row.worst, row.worst_t, row.first) == (end + 12 - shown, end + 12, 0x34)
    assert row.disabled == 0


@pytest.mark.parametrize("press", range(98, 112))
def test_bus_idle_cycles_of_an_instruction_are_no_acknowledge(press: int) -> None:
    """DAD takes 10 T-states in one piece; 20 a round with JMP, from 28 on."""
    row = waits(SERVED.replace("NOP", "DAD B"), press)["RST 6.5"]
    ends = (98, 108, 118)
    end = next(t for t in ends if press < t)
    assert row.served == 1
    assert row.worst_t == end + 12


def test_a_level_that_stays_asks_again() -> None:
    """A routine of EI and RET is over before the key is up: 14 T-states, and 12 again."""
    text = SERVED[: SERVED.index("PUSH")] + "EI\n RET\n"
    row = waits(text, 100)["RST 6.5"]
    assert row.served == 2
    assert (row.worst, row.worst_t) == (4 + 10 + 12, 114 + 26)


def test_a_wait_for_ei() -> None:
    """DI to 32, MVI to 39, the loop to 39 + 1400 - 3 = 1436, EI to 1440, NOP to 1444."""
    text = SERVED.replace("LOOP:   NOP", "DI\n MVI B,100\nOFF: DCR B\n JNZ OFF\n EI\nLOOP: NOP")
    lost = waits(text, 50)["RST 6.5"]  # the key is up long before EI, after 50 T-states
    assert (lost.served, lost.worst, lost.lost, lost.pending) == (0, None, 1, 0)
    assert abs(lost.longest_lost - 50) <= 10  # a machine cycle of JNZ at either end
    assert waits(text.replace("SIM", "NOP"), 50) == {}  # masked: RIM may look at it
    row = waits(text, 1400)["RST 6.5"]
    # DCR of round 97 lasts from 1397 to 1401, so JNZ's fetch shows the key first.
    assert (row.worst, row.worst_t) == (1444 + 12 - 1401, 1456)
    assert row.disabled == 1436 - 1401


def test_requests_lost_to_the_service_of_another_are_counted() -> None:
    """RST 6.5 and RST 5.5 rise together each millisecond, for 10 us: 5.5 is never served."""
    run = run_of(
        """
        LXI     SP,8800H
        MVI     A,0CH           ; 6.5 and 5.5
        SIM
        EI
LOOP:   JMP     LOOP
        ORG     2CH
        EI
        RET
        ORG     34H
        EI
        RET
        """,
        board=(
            ("  RST 7.5: tick.out", "  RST 6.5: both.out\n  RST 5.5: both.out"),
            (
                "  - {device: key, name: key}",
                "  - {device: tick, name: both, rate: 1 kHz, pulse: 10 us}",
            ),
        ),
    )
    found = {row.line: (row.served, row.lost) for row in run.latencies}
    assert found == {"RST 6.5": (19, 0), "RST 5.5": (0, 19)}


def test_a_request_that_nobody_serves_is_pending() -> None:
    text = "LXI SP,9000H\nLOOP: JMP LOOP\n"
    machine = rig(text)
    machine.run(t_states=200)
    machine.board.adjust("key", "press")
    machine.run(t_states=30)
    latencies = Latencies()
    latencies.feed(machine.trace.all())
    latencies.finish(machine.t)
    (row,) = latencies.rows()
    assert (row.line, row.served, row.worst) == ("RST 6.5", 0, None)
    assert 20 <= row.pending <= 30


def test_an_edge_is_kept_until_it_is_served() -> None:
    """RST 7.5 of the bench comes each millisecond; interrupts are off for 2.5 of them."""
    run = run_of(
        """
        LXI     SP,8800H        ;  to   13
        MVI     A,0BH           ;       20
        SIM                     ;       24
        LXI     B,104           ;       34
OFF:    DCX     B               ; 24 a round, 104 of them, less 3: 2527
        MOV     A,B
        ORA     C
        JNZ     OFF
        EI                      ;     2531
LOOP:   JMP     LOOP            ;     2541, where the first service begins: 2553
        ORG     3CH
        EI
        RET
        """
    )
    (row,) = run.latencies
    assert row.line == "RST 7.5"
    assert row.worst_t == 2553
    assert row.worst is not None
    # The first edge comes at 1000 (a millisecond after power-on) or where the tick begins.
    assert 1500 <= row.worst <= 2553
    assert row.served >= 17


CLEARED = """
        LXI     SP,9000H        ; T-states 3 to 13
        MVI     A,0BH           ; to 20
        SIM                     ; to 24
        MVI     B,20            ; to 31
OFF:    DCR     B
        JNZ     OFF             ; 14 a round, less 3: to 308
        MVI     A,1BH           ; to 315; bit 4 clears the latch of RST 7.5
        SIM                     ; to 319
        EI                      ; to 323
LOOP:   JMP     LOOP            ; 10 a round, at 323 + 10 n
        ORG     24H
        EI
        RET
        ORG     3CH
        EI
        RET
"""


def driven(line: Line, *levels: tuple[int, int], end: int = 1000) -> Machine:
    """The rig with that program, a line put to levels at T-states."""
    machine = rig(CLEARED, trace=5000)
    for t, level in levels:
        machine.schedule.at(t, lambda level=level: machine.drive(line, level))  # type: ignore[misc]
    machine.run(t_states=end)
    return machine


def rows_of(machine: Machine) -> list[Latency]:
    latencies = Latencies()
    latencies.feed(machine.trace.all())
    latencies.finish(machine.t)
    return list(latencies.rows())


def test_an_edge_that_sim_clears_is_no_request() -> None:
    """User's Manual, October 1979, SIM, bit 4 (value from memory).  An edge at 400 comes in
    JMP from 393 to 403, whose last T-state samples it; 12 T-states of acknowledge."""
    assert rows_of(driven(Line.RST75, (100, 1), (110, 0))) == []
    (row,) = rows_of(driven(Line.RST75, (100, 1), (110, 0), (400, 1), (410, 0)))
    assert (row.served, row.worst, row.worst_t, row.pending) == (1, 12, 415, 0)


def test_an_edge_that_reset_in_clears_is_no_request() -> None:
    machine = driven(Line.RST75, (100, 1), end=200)
    assert [row.pending > 90 for row in rows_of(machine)] == [True]
    machine.reset()
    machine.run(t_states=100)
    assert rows_of(machine) == []


@pytest.mark.parametrize("line", [Line.TRAP, Line.RST75])
def test_a_line_that_stays_high_asks_by_its_edge_alone(line: Line) -> None:
    """User's Manual, October 1979, section 2.3: TRAP and RST 7.5 need a new edge (value from
    memory)."""
    (row,) = rows_of(driven(line, (400, 1)))
    assert (row.served, row.worst, row.pending) == (1, 12, 0)


def test_a_trap_that_falls_unserved_asks_no_more() -> None:
    """Level and edge: at 405 and 407 within the JMP from 403 to 413."""
    assert rows_of(driven(Line.TRAP, (405, 1), (407, 0))) == []


@pytest.mark.parametrize(("mask", "masked"), [("0FH", True), ("0BH", False)])
def test_a_request_at_the_end_tells_whether_it_is_masked(mask: str, masked: bool) -> None:
    text = f"LXI SP,9000H\n MVI A,{mask}\n SIM\nLOOP: JMP LOOP\n"
    machine = rig(text)
    machine.run(t_states=200)
    machine.drive(Line.RST75, 1)
    machine.run(t_states=200)
    (row,) = rows_of(machine)
    assert (row.served, row.masked, 190 <= row.pending <= 200) == (0, masked, True)


def test_a_request_never_served_is_a_wait_too() -> None:
    """The tick of the bench comes at 1000 T-states; interrupts stay disabled.  A masked one
    may be polled, so that is for a person to judge."""
    wanted = Wanted(limits=Limits(wait=500))
    never = examined(program(("        EI\n        ;; HERE", ""), ("HLT", "NOP")), wanted=wanted)
    assert results(never)["run-wait"] is Result.FAULT
    assert any("RST 7.5 has asked for" in note for note in notes(never, "run-wait"))
    masked = examined(program(("MVI     A,0BH", "MVI     A,0FH"), ("HLT", "NOP")), wanted=wanted)
    assert results(masked)["run-wait"] is Result.LOOK
    assert any("is masked; 500" in note for note in notes(masked, "run-wait"))


def test_intr_is_served_where_its_instruction_leads() -> None:
    text = """
        LXI     SP,9000H
        EI
        MVI     A,1
        OUT     20H             ; asks by way of the vector device: RST 5
LOOP:   JMP     LOOP
        ORG     28H
        XRA     A
        OUT     20H
        EI
        RET
    """
    row = waits(text)["INTR"]
    assert (row.served, row.first) == (1, 0x28)


def test_a_drive_of_ones_own() -> None:
    """Anything that moves a machine can stand in for the plain run."""
    pressed = []

    def drive(machine: Machine) -> Driven:
        machine.board.adjust("key", "press")
        machine.run(t_states=5000)
        pressed.append(machine.t)
        return Driven("a key pressed", ["the lamp should have been lit"])

    subject = Subject(program(), read_board(BOARD, "bench.yaml"), drive=drive)
    found = report(study(subject, Wanted()))
    assert pressed
    assert set(results(found)) == {"run-as-expected"}
    assert found.run is not None
    assert found.run.about == "a key pressed"


def test_a_run_is_the_same_each_time() -> None:
    def once() -> object:
        subject = Subject(
            program(), read_board(BOARD, "bench.yaml"), drive=PlainRun(Fraction(1, 20))
        )
        return report(study(subject, Wanted())).run

    assert once() == once()


def test_code_that_was_not_executed_is_told_label_by_label() -> None:
    run = run_of(
        """
        LXI     SP,8800H        ; 0
        IN      10H             ; 3, gives 5A
        ORA     A               ; 5
        JZ      SPARE           ; 6
LOOP:   JMP     LOOP            ; 9
SPARE:  INR     B               ; C
        INR     B
OTHER:  JMP     LOOP            ; E
        """
    )
    assert [(one.low, one.high, one.symbol) for one in run.missed] == [
        (0xC, 0xD, "SPARE"),
        (0xE, 0x10, "OTHER"),
    ]
    assert (run.executed, run.code) == (12, 17)


SIZING = """
        LXI     SP,8800H
        LXI     H,8000H
SIZE:   MOV     A,M
        CMA
        MOV     M,A
        CMP     M
        JNZ     TOP
        CMA
        MOV     M,A
        INR     H               ; every 256 bytes
        JMP     SIZE
TOP:    JMP     TOP
"""


@pytest.mark.parametrize(
    ("old", "new", "result"),
    [
        ("MOV     A,M", "MOV     A,M", Result.LOOK),
        ("MOV     A,M", "MOV A,M\n NOP\n NOP\n NOP\n NOP", Result.LOOK),
        ("        MOV     M,A\n        CMP     M\n        JNZ     TOP\n", "", Result.FAULT),
        ("MOV     A,M", "MOV A,M\n STA 8080H\n LDA 80FFH\n CMP M", Result.FAULT),
    ],
)
def test_a_test_of_ram_is_no_fault_but_a_read_of_garbage_is(
    old: str, new: str, result: Result
) -> None:
    """RAM at 8000 to 87FF: eight reads, each followed by a write there; or by none, or a
    read elsewhere that no write follows."""
    text = SIZING.replace(old, new)
    if result is Result.FAULT and not new:
        text = text.replace("        CMA\n        MOV     M,A\n", "")
        text = text.replace("JMP     SIZE", "MOV A,H\n CPI 88H\n JNZ SIZE")
    found = examined(assemble(text, "size.asm").image)
    assert results(found)["run-unwritten"] is result


@pytest.mark.parametrize("size", [1, 7, 100])
def test_probes_do_not_depend_on_how_the_records_come(size: int) -> None:
    machine = rig(SIZING.replace("MOV     A,M", "LDA 8F50H\n MOV A,M"))
    machine.run(t_states=1500)
    whole, cut = Probes(), Probes()
    records = machine.trace.all()
    whole.feed(records)
    for start in range(0, len(records), size):
        cut.feed(records[start : start + size])
    whole.finish()
    cut.finish()
    assert (whole.written == cut.written).all()
    # 9000 is the first without a chip; nothing is written there after CMP M.
    assert np.flatnonzero(~whole.written).tolist() == [0x8F50, 0x9000]
