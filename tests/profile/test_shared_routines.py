"""Routines that the main program and interrupts share, against a sum of the test's own."""

from __future__ import annotations

from collections import Counter

import pytest

from emu85.bus.cycles import Cycle
from emu85.firmware import assemble
from emu85.machine import Machine
from emu85.profile.routines import Begun
from emu85.profile.watch import Watch
from tests.profile.watched import assert_whole, row_of

BOARD = """
name: ticking
crystal: 6.144 MHz
memory:
  - {rom: 2K, name: program, at: 0000-07FF}
  - {ram: 2K, name: work, at: 8000-87FF}
wired:
  - {device: tick, name: t, rate: 1500 Hz}
  - {device: tick, name: t2, rate: 2500 Hz, pulse: 20 us}
lines:
  RST 7.5: t.out
  TRAP: t2.out
"""
PROGRAM = """
        ORG     0
        JMP     MAIN
        ORG     24H
        JMP     HURRY
        ORG     3CH
        JMP     TICK
MAIN:   LXI     SP,8800H
        MVI     A,0BH           ; RST 7.5
        SIM
        EI
AGAIN:  MVI     C,4
        CALL    DOWN
        CALL    LEAF
        JMP     AGAIN
DOWN:   DCR     C               ; itself, and LEAF at its bottom
        JZ      LEAF
        CALL    DOWN
        RET
LEAF:   MVI     B,20
L1:     DCR     B
        JNZ     L1
        RET
TICK:   PUSH    PSW
        PUSH    B
        CALL    LEAF
        EI
        INR     D
        MOV     A,D
        ANI     3
        JNZ     SHORT
        CALL    LEAF            ; so long that it breaks into itself
        CALL    LEAF
        CALL    LEAF
        PUSH    B
        MVI     C,3
        CALL    DOWN
        POP     B
SHORT:  CALL    LEAF
        POP     B
        POP     PSW
        RET
HURRY:  PUSH    PSW
        PUSH    B
        CALL    LEAF
        POP     B
        POP     PSW
        EI
        RET
"""
_CALL, _RET = 0xCD, 0xC9


def ridden(program: str, t_states: int) -> tuple[Machine, Watch]:
    machine = Machine.from_text(BOARD, trace=400_000)
    machine.load(assemble(program, "program.asm").image)
    watch = Watch(machine)
    machine.run(t_states=t_states, wait=True)
    return machine, watch


def sums(machine: Machine) -> tuple[Counter[int], Counter[int], Counter[int]]:
    """Own, with callees, and calls by address, of a program without any trick.

    Its activations are a list; that of an interrupt is told by its negative address.
    """
    records = machine.trace.last(machine.trace.total)
    kinds, places, bytes_, times = (
        records[name].tolist() for name in ("type", "address", "data", "t")
    )
    times.append(machine.t)
    starts = [
        n
        for n, kind in enumerate(kinds)
        if kind == Cycle.OF or (kind == Cycle.BI and kinds[n + 1 : n + 2] == [Cycle.MW])
    ]
    own, whole, calls = Counter[int](), Counter[int](), Counter[int]()
    stack = [0]
    spent = times[starts[0]] - times[0]  # RESET
    own[0], whole[0] = spent, spent
    for n, after in zip(starts, [*starts[1:], len(kinds)], strict=True):
        leads_to = places[after] if after < len(kinds) else None
        took = times[after] - times[n]
        if kinds[n] == Cycle.BI and leads_to is not None:
            # Two acknowledges without a fetch between them: the first one's is told by
            # what the second pushes.
            if kinds[after] == Cycle.BI:
                leads_to = bytes_[after + 1] << 8 | bytes_[after + 2]
            stack.append(-leads_to)
            calls[-leads_to] += 1
        own[stack[-1]] += took
        newest = max((at for at, one in enumerate(stack) if one < 0), default=0)
        for one in set(stack[newest:]):
            whole[one] += took
        if kinds[n] != Cycle.OF or leads_to is None:
            continue
        # An interrupt right after it does not change where it has led to.
        if bytes_[n] == _CALL:
            stack.append(bytes_[n + 2] << 8 | bytes_[n + 1])
            calls[stack[-1]] += 1
        elif bytes_[n] == _RET:
            stack.pop()
    return own, whole, calls


def test_with_callees_is_what_a_plain_sum_says() -> None:
    machine, watch = ridden(PROGRAM, 400_000)
    figures = watch.figures()
    assert_whole(figures)
    own, whole, calls = sums(machine)
    found = {
        -row.address if row.begun.is_interrupt else row.address: row
        for row in figures.routines.rows()
    }
    assert {key: row.own for key, row in found.items()} == dict(own)
    assert {key: row.whole for key, row in found.items()} == dict(whole)
    assert {key: row.calls for key, row in found.items() if key} == dict(calls)
    leaf, tick = machine.symbols["LEAF"], -0x3C
    assert found[leaf].own == found[leaf].whole
    assert calls[tick] > 100 and whole[tick] > own[tick] + own[leaf] // 10
    # What runs is the main program or one interrupt: their times with callees are all of it.
    assert whole[0] + whole[-0x24] + whole[tick] == figures.t_states


@pytest.mark.parametrize("t_states", range(9_000, 9_400, 23))
def test_wherever_the_run_ends(t_states: int) -> None:
    """Activations that are not over, in interrupts that are not over."""
    machine, watch = ridden(PROGRAM, t_states)
    figures = watch.figures()
    assert_whole(figures)
    _, whole, _ = sums(machine)
    for begun, key in ((Begun.STARTED, 0), (Begun.RST75, 0x3C), (Begun.TRAP, 0x24)):
        assert row_of(figures, key, begun).whole == whole[-key]
