"""A counter told of a clock and one given each edge of it are the same counter.

Two timers are programmed alike by one firmware.  One has its clock straight from an
oscillator, so that it reckons by arithmetic; the other has it through a gate, so that
it is given every edge.  Whatever firmware does, their outputs and counts agree.
"""

from __future__ import annotations

import random

import pytest

from emu85.bus.cycles import Cycle
from tests.published.chips.bench import Bench

HEAD = """
name: bench
crystal: 2 MHz
memory:
  - {rom: 8K, at: 0000}
  - {ram: 8K, at: 8000}
"""

BOARD = """
ports:
  - {device: KIND, name: told, at: 20-23}
  - {device: KIND, name: given, at: 24-27}
  - {device: peripheral, name: probe, at: 30}
wired:
  - {device: oscillator, name: clock, rate: RATE}
lines:
  told.clk0: clock.out
  told.clk1: told.out0
  told.clk2: clock.out
  given.clk0: {any: [clock.out, low]}
  given.clk1: {any: [given.out0, low]}
  given.clk2: {any: [clock.out, low]}
  told.gate0-gate2: probe.q0-q2
  given.gate0-gate2: probe.q0-q2
  probe.p0-p2: told.out0-out2
  probe.p3-p5: given.out0-out2
"""


EVEN = """
PAUSE   MACRO N
        LOCAL AGAIN
        MVI B, N
AGAIN:  DCR B
        JNZ AGAIN
        ENDM
SEND    MACRO PORT, VALUE
        PUT PORT, VALUE
        MVI C, 0
        ENDM
TAKE    MACRO PORT
        KEEP PORT
        MVI C, 0
        ENDM
"""


def random_work(seed: int, timer: int) -> str:
    """Firmware that programs, gates and reads the counters of one of the timers.

    Every piece takes an even number of T-states, so that no access falls on an edge of
    the clock, where the order of the two is a matter of taste.
    """
    draw = random.Random(seed)
    base, lines = 0x20 + 4 * timer, []
    for _ in range(40):
        number, pause = draw.randrange(3), draw.choice((1, 2, 5, 30))
        act = draw.randrange(8)
        if act < 2:
            mode, access, bcd = draw.randrange(6), draw.choice((1, 1, 3)), draw.random() < 0.2
            lines.append(f"SEND {base + 3}, {number << 6 | access << 4 | mode << 1 | bcd}")
            count = draw.choice((1, 2, 3, 5, 8, 9)) if access == 1 or number == 1 else 0x81
            lines += [f"SEND {base + number}, {count}"] * (1 if access == 1 else 2)
        elif act < 4:
            lines.append(f"SEND {base + number}, {draw.choice((2, 3, 4, 7, 9))}")
        elif act < 6:
            lines.append(f"SEND 30H, {draw.randrange(8)}")
        else:
            lines.append(f"TAKE {base + number}")
        lines.append(f"PAUSE {pause}")
    return "\n".join(lines)


def outcome(kind: str, rate: str, seed: int, timer: int) -> tuple[list[int], list[object]]:
    """What the firmware read, and the changes of the three outputs."""
    bench = Bench(BOARD.replace("KIND", kind).replace("RATE", rate), head=HEAD)
    kept = bench.run(EVEN + random_work(seed, timer))
    bench.machine.run(t_states=1000, wait=True)
    return kept, [bench.changes("probe", f"p{3 * timer + n}") for n in range(3)]


@pytest.mark.parametrize(
    ("kind", "rate"), [("8253", "100 kHz"), ("8254", "20 kHz"), ("8254", "500 kHz")]
)
def test_arithmetic_agrees_with_edges(kind: str, rate: str) -> None:
    for seed in (12, 15):
        assert outcome(kind, rate, seed, 0) == outcome(kind, rate, seed, 1), seed


def test_pulses_shorter_than_a_t_state_reach_a_plain_pin() -> None:
    """CLK is 8 times the CPU clock: OUT of mode 2 is low for an eighth of a T-state."""
    board = "".join(line for line in BOARD.splitlines(True) if "given.clk" not in line)
    bench = Bench(board.replace("KIND", "8254").replace("RATE", "8 MHz"), head=HEAD)
    bench.run("PUT 23H, 14H\nPUT 20H, 200")
    bench.machine.run(t_states=240, wait=True)
    (start,) = bench.ends_of(Cycle.IOW, 0x20)
    rises = [t for t, level in bench.changes("probe", "p0")[2:] if level]
    # Loaded by the first pulse, an eighth of a T-state long, then every 25 T-states.
    assert rises[:8] == [start + 25 * n for n in range(1, 9)]
