"""What the lessons call right is what the manuals give, worked out without the machine.

Sources: tests/published/opcodes.py (the summary of the MCS-80/85 Family User's Manual,
October 1979, typed by hand; values from memory) and the manual's machine cycle chart.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

import pytest

from emu85.errors import UserError
from emu85.lessons import LESSONS, Exercise, lesson_named
from tests.published.opcodes import LENGTH, OPCODES
from tests.published.test_status_lines import BY_TYPE

KINDS = {"F": "OF", "S": "OF", "R": "MR", "W": "MW", "I": "IOR", "O": "IOW", "B": "BI"}
HOLDS: dict[str, Callable[[int], int]] = {
    "NZ": lambda f: ~f & 0x40,
    "Z": lambda f: f & 0x40,
    "NC": lambda f: ~f & 0x01,
    "C": lambda f: f & 0x01,
    "PO": lambda f: ~f & 0x04,
    "PE": lambda f: f & 0x04,
    "P": lambda f: ~f & 0x80,
    "M": lambda f: f & 0x80,
}


def exercise(lesson: str, seed: int) -> Exercise:
    return lesson_named(lesson).make(Random(f"test {seed}"))


@pytest.mark.parametrize("seed", range(80))
def test_cycles_of_an_instruction(seed: int) -> None:
    one = exercise("cycles", seed)
    code = one.machine.memory[one.machine.registers.pc]
    opcode = OPCODES[code]
    condition = opcode.mnemonic[1:]
    taken = not opcode.conditional or HOLDS[condition](one.machine.registers.f)
    letters = [step[0] for step in (opcode.cycles if taken else opcode.cycles_not)]
    names = " ".join(KINDS[letter] for letter in letters)
    right = f"{names} {sum(LENGTH[letter] for letter in letters)}"
    assert one.judge(right).is_right
    assert one.judge(right.lower().replace(" ", ", ")).is_right
    assert not one.judge(f"{names} {opcode.t + 1}").is_right
    assert not one.judge(f"{names} MW {opcode.t}").is_right
    assert one.right() == right


@pytest.mark.parametrize("seed", range(40))
def test_time_of_a_loop(seed: int) -> None:
    one = exercise("loops", seed)
    assert not one.judge("1").is_right
    right = by_hand(one.asked)
    assert one.judge(str(right)).is_right
    assert not one.judge(str(right + 3)).is_right
    total = list(one.explain(80))[-1].split()
    assert int(total[-1]) == right


TIMES = {
    **{"MVI": (7, 2), "LXI": (10, 3), "NOP": (4, 1), "ADD": (4, 1), "ANA": (4, 1), "XCHG": (4, 1)},
    **{"CMP": (7, 1), "MOV E,M": (7, 1), "INX": (6, 1), "DCX": (6, 1), "RLC": (4, 1)},
    **{"CMC": (4, 1), "DCR": (4, 1), "MOV A,B": (4, 1), "ORA": (4, 1)},
}
"""T-states and bytes read from the EPROM, by the manual (value from memory)."""


def by_hand(asked: str) -> int:
    """The sum that a student would do: passes of each level times what is in it."""
    found = re.search(r"has (\d) wait state", asked)
    waits = int(found[1]) if found else 0

    def cost(line: str) -> int:
        t, size = TIMES.get(line) or TIMES[line.split()[0]]
        return t + size * waits

    jump, last = 10 + 3 * waits, 7 + 2 * waits  # a JNZ not taken reads two of its bytes
    lines = asked.partition("; each")[0].split("; ")
    code = [line.partition(":")[2].strip() if ":" in line else line for line in lines]
    code = [line for line in code if line][:-1]  # without DONE's NOP
    counts = [int(line.split(",")[1]) for line in code if line.startswith(("MVI", "LXI"))]
    body = [line for line in code if not line.startswith(("MVI", "LXI", "JNZ"))]
    if len(counts) == 1:
        once = sum(map(cost, body))
        return cost(code[0]) + counts[0] * (once + jump) - jump + last
    outer, inner = counts
    *body, decrement = body  # DCR B of the outer loop comes last
    passes = inner * (sum(map(cost, body)) + jump) - jump + last
    around = cost("MVI") + passes + cost(decrement)
    return cost("MVI") + outer * (around + jump) - jump + last


@pytest.mark.parametrize("seed", range(40))
def test_type_by_the_status_lines(seed: int) -> None:
    one = exercise("status", seed)
    shown = " ".join(one.task[:2])
    pins = re.findall(r"(?:IO/M|S1|S0|RD|WR|INTA) (\d|floats|unspecified)", shown)
    ale = "1" if "ALE pulses" in shown else "0"
    seen = [{"floats": "TS", "unspecified": "X"}.get(pin, pin) for pin in pins] + [ale]
    fits = [
        name
        for name, row in BY_TYPE.items()
        if name != "RESET"
        and all(a in (b, "TS") if b == "X" else a == b for a, b in zip(seen, row, strict=True))
    ]
    assert len(fits) == 1
    right = fits[0].removesuffix("/ACK")
    assert one.judge(right.lower()).is_right
    assert not one.judge("MW" if right != "MW" else "MR").is_right
    assert one.right().startswith(right)


def test_status_asks_about_every_type() -> None:
    asked = {exercise("status", seed).right().split()[0] for seed in range(60)}
    assert asked == {"OF", "MR", "MW", "IOR", "IOW", "INA", "BI", "HALT", "HOLD"}


@pytest.mark.parametrize("seed", range(60))
def test_what_stands_on_the_pins(seed: int) -> None:
    """By the data sheet's read and write figures: address, then nobody or the byte."""
    one = exercise("pins", seed)
    text = " ".join(one.task)
    name = re.search(r"half of (T\d)", text)
    ordinal = re.search(r"of the (\w+) machine cycle", text)
    assert name and ordinal
    place = ["first", "second", "third", "fourth", "fifth"].index(ordinal[1])
    one.machine.step(place + 1)
    record = one.machine.trace[-1]
    kind = KIND_OF[int(record["type"])]
    address, data = f"{int(record['address']) & 0xFF:02X}", f"{int(record['data']):02X}"
    right = {
        ("R", "T1"): address, ("R", "T3"): data,
        ("W", "T1"): address, ("W", "T2"): data, ("W", "T3"): data,
    }.get((kind, name[1]), "floats")  # fmt: skip
    assert one.right() == right
    assert one.judge(right).is_right
    assert not one.judge("floats" if right != "floats" else "00").is_right


def test_both_bytes_and_floating_pins_are_asked_about() -> None:
    answers = [exercise("pins", seed).right() for seed in range(60)]
    assert 10 < answers.count("floats") < 50


KIND_OF = {0: "R", 1: "R", 2: "W", 3: "R", 4: "W", 6: "B"}
"""Whether a machine cycle reads or writes, by the number of its type in the trace."""
CULPRIT = {"MARK": 0x36, "ORDER": 0xF5, "NOTE": 0x22, "TAKE": 0xE3}
"""The opcode that breaks the stack in each program: MVI M, PUSH PSW, SHLD, XTHL."""


@pytest.mark.parametrize("seed", range(30))
def test_the_write_that_broke_the_stack(seed: int) -> None:
    one = exercise("stack", seed)
    machine = one.machine
    name = next(name for name in CULPRIT if name in machine.symbols)
    start = machine.symbols[name]
    at = next(a for a in range(start, start + 16) if machine.memory[a] == CULPRIT[name])
    assert one.judge(f"at {at:04X}").is_right
    assert one.judge(f"{at:04X}").is_right
    right_t = one.right().partition("T ")[2]
    assert one.judge(f"T {right_t}").is_right
    assert not one.judge(f"T {int(right_t) + 3}").is_right or name != "MARK"
    assert not one.judge("START").is_right
    call = next(a for a in range(0x100, 0x140) if machine.memory[a] == 0xCD)
    assert not one.judge(f"at {call:04X}").is_right
    assert list(one.explain(80))


def test_all_four_ways_are_found() -> None:
    names = {
        name
        for seed in range(40)
        for name in CULPRIT
        if name in exercise("stack", seed).machine.symbols
    }
    assert names == set(CULPRIT)


@pytest.mark.parametrize(
    ("lesson", "answer", "message"),
    [
        ("cycles", "OF MR", "ends with the T-states in all; expected cycle types in order"),
        ("cycles", "OF XR 7", "'XR' is no type of machine cycle"),
        ("cycles", "OF OIW 7", "did you mean 'IOW'?"),
        ("loops", "many", "'many' is not a number"),
        ("loops", "-5", "-5 is out of range"),
        ("status", "opcode fech", "no type of machine cycle; expected OF, MR"),
        ("stack", "at NOWHERE", "neither a number nor a symbol"),
        ("stack", "T", "not a number"),
        ("pins", "3E8", "expected a byte such as 3E"),
    ],
)
def test_what_is_no_answer(lesson: str, answer: str, message: str) -> None:
    with pytest.raises(UserError) as caught:
        exercise(lesson, 1).judge(answer)
    assert message in str(caught.value)


def test_lessons_are_found_by_name() -> None:
    assert lesson_named("LOOPS") is LESSONS["loops"]
    with pytest.raises(UserError, match="did you mean 'cycles'"):
        lesson_named("cicles")


@pytest.mark.parametrize("lesson", list(LESSONS))
def test_the_same_seed_asks_the_same(lesson: str) -> None:
    one, same, other = (exercise(lesson, seed) for seed in (5, 5, 6))
    assert (list(one.task), one.right()) == (list(same.task), same.right())
    assert (list(one.task), one.right()) != (list(other.task), other.right())


@pytest.mark.parametrize("lesson", list(LESSONS))
@pytest.mark.parametrize("seed", range(4))
def test_looking_does_not_change_what_is_right(lesson: str, seed: int) -> None:
    one = exercise(lesson, seed)
    before = one.right()
    one.machine.run(t_states=500)
    assert one.right() == before
