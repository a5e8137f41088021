"""The lessons on T-states, held against counts made by hand.

T-states and machine cycles from Intel's MCS-80/85 Family User's Manual (October
1979), values from memory, and not from our own instruction table.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.board.shelf import folder
from emu85.bus.cycles import Cycle
from emu85.machine import Machine

ROUNDS = 2 * 8
STEP_US = 250_000
T_STATE_US = 0.5

# Mnemonics of CYCLES and LEAF in the order executed, the machine cycles of each.
LESSON = [
    ("LXI", 10, "OF MR MR"),
    ("MVI M", 10, "OF MR MW"),
    ("MOV A,M", 7, "OF MR"),
    ("MOV D,A", 4, "OF"),
    ("INR M", 10, "OF MR MW"),
    ("ADD M", 7, "OF MR"),
    ("INX", 6, "OF"),
    ("MOV M,A", 7, "OF MW"),
    ("DCX", 6, "OF"),
    ("LHLD", 16, "OF MR MR MR MR"),
    ("DAD", 10, "OF BI BI"),
    ("SHLD", 16, "OF MR MR MW MW"),
    ("LDA", 13, "OF MR MR MR"),
    ("STA", 13, "OF MR MR MW"),
    ("PUSH", 12, "OF MW MW"),
    ("XTHL", 16, "OF MR MR MW MW"),
    ("POP", 10, "OF MR MR"),
    ("XCHG", 4, "OF"),
    ("XRA", 4, "OF"),
    ("JNZ", 7, "OF MR"),
    ("CNZ", 9, "OF MR"),
    ("RNZ", 6, "OF"),
    ("CALL", 18, "OF MR MR MW MW"),
    ("RZ", 12, "OF MR MR"),
    ("RET", 10, "OF MR MR"),
]


def run() -> Machine:
    machine = Machine.from_board("slate", trace=2_500_000)
    assert machine.board.firmware is not None
    machine.load(machine.board.firmware)
    machine.run(seconds=(ROUNDS + 0.5) * STEP_US / 1_000_000)
    return machine


@pytest.fixture(scope="module")
def machine() -> Machine:
    return run()


def outs(machine: Machine) -> NDArray[np.void]:
    trace = machine.trace.all()
    written: NDArray[np.void] = trace[trace["type"] == Cycle.IOW]
    return written


def test_lamps_walk_from_the_right(machine: Machine) -> None:
    assert outs(machine)["data"].tolist() == [1, 2, 4, 8, 16, 32, 64, 128] * 2 + [1]
    assert list(machine.findings) == []


def test_a_step_is_a_quarter_of_a_second_to_the_t_state(machine: Machine) -> None:
    dcx, mov, ora, jnz = 6, 4, 4, 10
    lxi, ret, call, out, rlc, dcr, mvi, inx = 10, 10, 18, 10, 4, 4, 7, 6
    passes = 20_829
    delay = lxi + passes * (dcx + mov + ora + jnz) - 3 + ret
    assert delay == 499_913
    step = out + rlc + mov + call + delay + lxi + lxi + mvi + inx + mov + dcr + jnz
    assert step == STEP_US / T_STATE_US
    lesson = sum(t for _, t, _ in LESSON)
    jump = 10
    last = step - 3 + ret + call + lesson + jump + call + mvi + mvi
    measured = np.diff(outs(machine)["t"])
    assert measured.tolist() == ([step] * 7 + [last]) * 2


def test_delay_as_its_comment_counts_it(machine: Machine) -> None:
    trace = machine.trace.all()
    fetch = trace[trace["type"] == Cycle.OF]
    enter = fetch["t"][fetch["address"] == machine.symbols["DELAY"]]
    # Back from DELAY: the LXI after the CALL in WALK (OUT 2, RLC 1, MOV 1, CALL 3 bytes).
    back = fetch["t"][fetch["address"] == machine.symbols["WSTEP"] + 2 + 1 + 1 + 3]
    assert set(back - enter[: len(back)]) == {10 + 20_829 * 24 - 3 + 10}


def test_every_machine_cycle_of_the_lesson() -> None:
    machine = run()
    trace = machine.trace.all()
    start = np.flatnonzero(
        (trace["type"] == Cycle.OF) & (trace["address"] == machine.symbols["CYCLES"])
    )[0]
    expected = " ".join(cycles for _, _, cycles in LESSON).split()
    lesson = trace[start : start + len(expected)]
    assert [Cycle(t).name for t in lesson["type"]] == expected
    written = [(int(r["address"]), int(r["data"])) for r in lesson if r["type"] == Cycle.MW]
    assert written[:4] == [(0x8000, 0x3F), (0x8000, 0x40), (0x8001, 0x7F), (0x8000, 0x80)]
    # FE80H twice 7F40H, through memory, the stack and XTHL; return addresses around it.
    assert written[4:6] == [(0x8001, 0xFE), (0x8001, 0x80)]
    assert written[6:10] == [(0x87FD, 0xFE), (0x87FC, 0x80), (0x87FD, 0xFE), (0x87FC, 0x80)]
    assert 2 * 0x7F40 == 0xFE80
    assert written[10][1] << 8 | written[11][1] == machine.symbols["LEAF"] - 1


def test_comments_carry_the_manuals_numbers() -> None:
    source = (folder("firmware_examples") / "slate.asm").read_text("ascii")
    body = source[source.index("CYCLES: LXI") : source.index("; All of CYCLES")]
    rows = re.findall(r"; +(\d+)  ((?:(?:OF6?|MR|MW|BI) ?)+)", body)
    in_source = [(int(t), cycles.replace("OF6", "OF").split()) for t, cycles in rows]
    executed = [(t, cycles.split()) for _, t, cycles in LESSON]
    # In the source the RET stands before LEAF.
    executed[-2:] = executed[:-3:-1]
    assert in_source == executed


def test_two_runs_are_one() -> None:
    assert run().trace.all().tobytes() == run().trace.all().tobytes()


@pytest.mark.parametrize("vector", [*range(0x08, 0x40, 8), 0x24])
def test_every_restart_begins_again(vector: int) -> None:
    machine = Machine.from_board("slate")
    machine.load(folder("firmware_examples") / "slate.asm")
    machine.registers.pc = vector
    machine.run(t_states=1_000_000)
    assert outs(machine)["data"].tolist() == [1, 2]
