"""Delays hit what they promise, to the T-state, and what they promise is what was wanted.

The T-states of instructions typed here are those of the MCS-80/85 Family User's Manual,
October 1979, instruction set chapter (value from memory): MVI 7, LXI 10, DCR 4, DCX 6,
MOV r,r 4, ORA r 4, JNZ 10 if it jumps and 7 if not, CALL 18, RET 10, NOP 4.
"""

from __future__ import annotations

import random
import re
from fractions import Fraction

import pytest

from emu85.errors import UserError
from emu85.machine import Machine
from emu85.timing.delay import NO_WAITS, Use, Waits, prove, solve, write_delay
from emu85.timing.delay.loops import USUAL, read_nests
from emu85.timing.delay.proof import proving_machine
from emu85.timing.delay.solver import reach
from emu85.timing.delay.source import destroyed

CLOCK = Fraction(3_072_000)
CRYSTALS = ("1", "2", "3.579545", "4", "4.9152", "6", "6.144", "7.3728", "10", "12")
COUNT = 200
SEED = 8085

_MACHINES: dict[Waits, Machine] = {}
"""Machines that are used again: their crystal has no part in T-states."""


def machine_of(crystal: Fraction, waits: Waits) -> Machine:
    if waits not in _MACHINES:
        _MACHINES[waits] = proving_machine(crystal, waits)
    return _MACHINES[waits]


def wishes() -> list[tuple[Fraction, Fraction, Waits, Use]]:
    """Crystals in hertz, times in seconds from 20 us to 2 s, wait states and uses."""
    dice = random.Random(SEED)
    found = []
    for _ in range(COUNT):
        usual = Fraction(dice.choice(CRYSTALS)) * 1_000_000
        crystal = dice.choice((usual, Fraction(dice.randrange(500_000, 12_500_000))))
        time = Fraction(round(20 * 10 ** dice.uniform(0, 5)), 1_000_000)
        waits = dice.choice((NO_WAITS, NO_WAITS, Waits(1, 0), Waits(1, 1), Waits(3, 2)))
        found.append((crystal, time, waits, dice.choice(list(Use))))
    return found


def test_two_hundred_random_wishes_take_what_is_promised_and_what_is_wanted() -> None:
    inexact = 0  # only the least times can be
    for crystal, time, waits, use in wishes():
        wanted = round(time * crystal / 2)
        low, _ = reach(use, waits, USUAL)
        if wanted < low:
            wanted = low + wanted
        plan = solve(wanted, use, waits)
        source = write_delay(plan, crystal / 2)
        measured = prove(machine_of(crystal, waits), source, use, plan.t_states)
        assert measured == plan.t_states, source
        assert plan.t_states == wanted or wanted < low + 60, source
        inexact += plan.t_states != wanted
    assert inexact < COUNT // 20


@pytest.mark.parametrize("use", Use)
@pytest.mark.parametrize("waits", [NO_WAITS, Waits(2, 1)])
def test_every_short_wish_is_hit_or_as_near_as_it_can_be(use: Use, waits: Waits) -> None:
    """Beyond 40 T-states from the least, at no wait states, every one is hit."""
    low, _ = reach(use, waits, USUAL)
    for wanted in range(low, low + 120):
        plan = solve(wanted, use, waits)
        measured = prove(machine_of(2 * CLOCK, waits), write_delay(plan, CLOCK), use, wanted)
        assert measured == plan.t_states
        if waits == NO_WAITS and wanted >= low + 40:
            assert measured == wanted


def test_a_loop_of_one_register_counted_by_hand() -> None:
    """7 + 100(4 + 10) - 3 = 1404; with CALL 18 and RET 10, 1432."""
    plan = solve(1404, Use.INLINE)
    assert [loop.passes for loop in plan.loops] == [100]
    assert not plan.head.fillers
    assert [loop.passes for loop in solve(1432).loops] == [100]


def test_a_loop_of_a_pair_counted_by_hand() -> None:
    """10 + 1000(6 + 4 + 4 + 10) - 3 = 24007."""
    plan = solve(24_007, Use.INLINE)
    assert [(loop.level.counter.name, loop.passes) for loop in plan.loops] == [("BC", 1000)]
    assert plan.size == 3 + 3 + 3


def test_a_nest_counted_by_hand() -> None:
    """Inner 7 + 200(14) - 3 = 2804; outer 7 + 50(2804 + 14) - 3 = 140904."""
    plan = solve(140_904, Use.INLINE, nests=read_nests("B,C"))
    assert plan.times == [140_904, 2804]
    assert plan.size == 12


def test_wait_states_counted_by_hand() -> None:
    """One in each of MVI's 2 reads, DCR's 1, JNZ's 3 or 2: 9 + 100(5 + 13) - 4 = 1805."""
    plan = solve(1805, Use.INLINE, Waits(1, 0))
    assert [loop.passes for loop in plan.loops] == [100]
    assert not plan.head.fillers


def test_stack_waits_count_in_call_and_ret_alone() -> None:
    """Two stack cycles each: 18 + 10 + 4 x 5 = 48, and 16 with a wait in four code reads."""
    assert reach(Use.ROUTINE, Waits(0, 5), USUAL)[0] == 48
    assert reach(Use.ROUTINE, Waits(1, 0), USUAL)[0] == 18 + 10 + 4


def test_full_counts_are_loaded_as_nought() -> None:
    """7 + 256(14) - 3 = 3588."""
    text = write_delay(solve(3588, Use.INLINE), CLOCK)
    assert "MVI     B,0 " in text
    assert "256 passes: 0 counts as 256" in text


def test_no_shorter_code_of_the_kind_was_missed() -> None:
    """Against all one-register loops with up to two NOPs or a CPI, by brute force."""
    extras = {0: 0, 4: 1, 8: 2, 7: 2}
    for wanted in range(200, 3000, 37):
        sizes = [
            6 + head_size + body_size
            for head, head_size in extras.items()
            for body, body_size in extras.items()
            for n in range(1, 257)
            if head + 7 + n * (body + 14) - 3 == wanted
        ]
        if sizes:
            assert solve(wanted, Use.INLINE).size <= min(sizes)


def test_times_out_of_reach_are_refused() -> None:
    with pytest.raises(ValueError, match="not in 28 to"):
        solve(27)
    low, high = reach(Use.INLINE, NO_WAITS, read_nests("B"))
    assert (low, high) == (4, 7 + 256 * 14 - 3)


@pytest.mark.parametrize("registers", ["B", "A", "D,E", "HL", "BC,DE", "B,C,D", "DE,H", "BC,DE,HL"])
def test_registers_that_are_not_named_and_memory_come_out_as_they_went_in(registers: str) -> None:
    nests = read_nests(registers)
    machine = machine_of(2 * CLOCK, NO_WAITS)
    for wanted in (60, 91, 777, 3333):
        if wanted > reach(Use.ROUTINE, NO_WAITS, nests)[1]:
            continue
        plan = solve(wanted, Use.ROUTINE, NO_WAITS, nests)
        gone, _ = destroyed(plan)
        fresh = {name: 0x11 + i for i, name in enumerate("abcdehl")}
        for name, value in fresh.items():
            setattr(machine.registers, name, value)
        assert prove(machine, write_delay(plan, CLOCK), Use.ROUTINE, wanted) == plan.t_states
        for name, value in fresh.items():
            if name.upper() not in gone:
                assert getattr(machine.registers, name) == value, name


def test_comments_add_up() -> None:
    """Each line 'label  a + n(b + c) - d = e' of the arithmetic is right."""
    for wanted in (1000, 30_720, 123_457, 5_000_000):
        text = write_delay(solve(wanted), CLOCK)
        sums = re.findall(r"^; \w+ {2}(.+?) += (\d+)$", text, re.M)
        assert sums
        for left, right in sums:
            assert _value(left) == int(right), text
        assert int(sums[-1][1]) == wanted


def _value(text: str) -> int:
    """Of sums whose only products are ``n(a + b)``."""
    words = re.sub(r"[A-Za-z]+ ", "", text)
    found = re.search(r"(\d+)\(([^)]*)\)", words)
    if found:
        words = words.replace(found[0], str(int(found[1]) * _value(found[2])))
    return sum(int(term) for term in re.sub(r"- ", "+ -", words).split("+"))


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("BX", "did you mean 'B'"),
        ("B,BC", "both need B"),
        ("A,BC", "both need A"),
        ("B,C,D,E", "at most 3"),
        ("", "is no counter"),
    ],
)
def test_counters_that_cannot_be(written: str, told: str) -> None:
    with pytest.raises(UserError, match=told):
        read_nests(written)
