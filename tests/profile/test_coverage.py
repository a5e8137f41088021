"""Counting over the records of a run, slice by slice."""

from __future__ import annotations

import numpy as np
import pytest

from emu85.profile import Execution, Gathering
from tests.rig import FIRST_FETCH, rig

PROGRAM = """
        LXI     SP,9000H        ; 0000  10
        MVI     B,3             ; 0003   7
LOOP:   CALL    PUT             ; 0005  18
        DCR     B               ; 0008   4
        JNZ     LOOP            ; 0009  10, at last 7
        IN      0               ; 000C  10
        OUT     20H             ; 000E  10
        HLT                     ; 0010
PUT:    STA     8000H           ; 0011  13
        LDA     8000H           ; 0014  13
        RET                     ; 0017  10
NEVER:  NOP                     ; 0018
"""
TO_HALT = 10 + 7 + 3 * (18 + 13 + 13 + 10 + 4 + 10) - 3 + 10 + 10
"""T-states from the first fetch to that of HLT, by the manual's timing (from memory)."""


def executed(trace: int, step: int | None = None) -> Execution:
    machine = rig(PROGRAM, trace=trace)
    execution = Execution()
    end = FIRST_FETCH + TO_HALT + 100
    with Gathering(machine, execution) as gathering:
        while machine.t < end:
            machine.run(t_states=min(step or end, end - machine.t), wait=True)
    assert gathering.complete
    execution.finish(end)
    return execution


def test_counts_are_those_of_the_program() -> None:
    found = executed(1000)
    assert found.fetches.nonzero()[0].tolist() == [
        *(0x0000, 0x0003, 0x0005, 0x0008, 0x0009, 0x000C, 0x000E, 0x0010, 0x0011, 0x0014, 0x0017)
    ]
    assert [found.fetches[at] for at in (0x0000, 0x0005, 0x0009, 0x0011)] == [1, 3, 3, 3]
    assert (found.reads[0x8000], found.writes[0x8000]) == (3, 3)
    assert (found.port_reads[0], found.port_writes[0x20]) == (1, 1)
    assert found.covered.nonzero()[0].tolist() == list(range(0x0018))
    assert found.opcodes[0x0010] == 0x76
    assert found.opcodes[0x0018] == -1


def test_time_is_charged_to_the_instruction_that_took_it() -> None:
    found = executed(1000)
    charged = [int(found.t_states[at]) for at in (0x0000, 0x0003, 0x0005, 0x0009, 0x0011, 0x0017)]
    assert charged == [10, 7, 3 * 18, 10 + 10 + 7, 3 * 13, 3 * 10]
    assert found.t_states.sum() == TO_HALT + 100
    assert found.t_states[0x0010] == 100


@pytest.mark.parametrize("step", [1, 7, 50])
def test_how_a_run_is_cut_does_not_matter(step: int) -> None:
    whole, cut = executed(1000), executed(40, step)
    for name in ("fetches", "opcodes", "t_states", "reads", "writes", "port_reads", "port_writes"):
        assert np.array_equal(getattr(whole, name), getattr(cut, name)), name
    assert cut.records >= whole.records


def test_an_acknowledge_is_charged_to_no_instruction() -> None:
    machine = rig(
        """
        LXI     SP,9000H
        MVI     A,0DH           ; RST 6.5 alone
        SIM
        EI
LOOP:   JMP     LOOP
        ORG     34H
        HLT
        """
    )
    execution = Execution()
    with Gathering(machine, execution):
        machine.run(t_states=60)
        machine.board.adjust("key", "press")
        machine.run(t_states=60)
    execution.finish(machine.t)
    assert execution.acknowledge_t == 12
    assert execution.t_states.sum() == machine.t - FIRST_FETCH - 12


def test_a_ring_much_shorter_than_the_run_will_do() -> None:
    assert np.array_equal(executed(8).fetches, executed(1000).fetches)


def test_what_is_done_before_and_after_is_not_counted() -> None:
    machine = rig(PROGRAM)
    execution = Execution()
    machine.step_instruction(2)
    with Gathering(machine, execution):
        machine.step_instruction()
    machine.step_instruction()
    assert execution.fetches.nonzero()[0].tolist() == [0x0005]


def test_a_trace_that_began_anew_is_told() -> None:
    machine = rig(PROGRAM)
    execution = Execution()
    with Gathering(machine, execution) as gathering:
        machine.run(t_states=100)
        machine.power()
        machine.run(t_states=10)
    assert not gathering.complete
    assert execution.fetches[0] == 2
