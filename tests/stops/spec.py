"""Conditions written twice: as the words of the language and as plain Python.

The plain Python is made from the meaning of the words alone.  It knows nothing
of steps, masks, tables or numpy, so that it can judge all of them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from hypothesis import strategies as st

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line


@dataclass(frozen=True)
class Bus:
    """One machine cycle; ``address`` as A15-A0 show it."""

    type: str
    address: int
    data: int
    lines: int

    def high(self, name: str) -> bool:
        return bool(self.lines & LINE_BITS[name])


# Bit numbers as documented in the trace record, by the names users write.
LINE_BITS = {
    "TRAP": int(Line.TRAP),
    "RST 7.5": int(Line.RST75),
    "SID": int(Line.SID),
    "SOD": int(Line.SOD),
}
FINDING_BIT = int(Line.FINDING)
MACHINE_CYCLES = ("OF", "MR", "MW", "IOR", "IOW", "INA", "BI")
ALL_TYPES = (*MACHINE_CYCLES, "HALT", "HOLD", "RESET")

Part = tuple[str, Callable[[Bus, Bus], bool]]
"""Words, and whether they hold in a cycle, given the cycle before it."""


@dataclass(frozen=True)
class SpecStep:
    text: str
    holds: Callable[[Bus, Bus], bool]
    lines_only: bool
    passes: int


@dataclass(frozen=True)
class Spec:
    steps: tuple[SpecStep, ...]

    @property
    def text(self) -> str:
        return " then ".join(step.text for step in self.steps)


def hits(spec: Spec, cycles: list[Bus]) -> list[bool]:
    """Cycle by cycle: does the condition hit here, armed from the first cycle on?"""
    answers = []
    waiting_for, let_by = 0, 0
    for number, now in enumerate(cycles):
        # Nothing changes in the very first cycle.
        before = cycles[number - 1] if number else now
        step = spec.steps[waiting_for]
        met = step.holds(now, before)
        if step.lines_only:
            earlier = cycles[number - 2] if number > 1 else before
            met = met and number > 0 and not step.holds(before, earlier)
        if met and let_by < step.passes:
            let_by += 1
            met = False
        elif met:
            let_by = 0
            waiting_for = (waiting_for + 1) % len(spec.steps)
        answers.append(met and waiting_for == 0)
    return answers


# A small world, so that conditions and cycles meet often.
ADDRESS_WORLD = (0x0021, 0x1FFF, 0x2000, 0x8004, 0x80FF)
PORT_WORLD = (0x20, 0x21, 0xFF)
BYTE_WORLD = (0x00, 0x1B, 0x30, 0xB1)
ADDRESSES = st.sampled_from(ADDRESS_WORLD)
PORTS = st.sampled_from(PORT_WORLD)
BYTES = st.sampled_from(BYTE_WORLD)


def random_cycles(seed: int, count: int) -> list[Bus]:
    """A stream of cycles; lines stay as they are now and then, so that levels last."""
    rng = random.Random(seed)
    common = rng.sample(ALL_TYPES, 4)
    lines = 0
    cycles = []
    for _ in range(count):
        kind = rng.choice(common if rng.random() < 0.8 else ALL_TYPES)
        port = rng.choice(PORT_WORLD)
        address = port * 256 + port if kind in ("IOR", "IOW") else rng.choice(ADDRESS_WORLD)
        if rng.random() < 0.7:
            lines ^= rng.choice([*LINE_BITS.values(), FINDING_BIT])
        cycles.append(Bus(kind, address, rng.choice(BYTE_WORLD), lines))
    return cycles


CYCLES = st.builds(random_cycles, st.integers(0, 1 << 32), st.sampled_from([0, 1, 2, 30, 100]))


def _hex_digits(value: int, digits: int) -> str:
    return format(value, f"0{digits}X")


def _agrees(value: int, pattern: str) -> bool:
    """Digit by digit, x agreeing with anything."""
    shown = _hex_digits(value, len(pattern))
    return all(p in ("x", s) for p, s in zip(pattern, shown, strict=True))


@st.composite
def _nibble_pattern(draw: st.DrawFn, values: st.SearchStrategy[int], digits: int) -> str:
    shown = _hex_digits(draw(values), digits)
    free = draw(st.lists(st.booleans(), min_size=digits, max_size=digits))
    pattern = "".join("x" if f else c for f, c in zip(free, shown, strict=True))
    foreign = digits == 4 and pattern.startswith("0x") and "x" not in pattern[2:]
    return _hex_digits(draw(values), digits) if foreign else pattern


@st.composite
def _address_part(draw: st.DrawFn, ports: bool) -> Part:
    values, digits = (PORTS, 2) if ports else (ADDRESSES, 4)
    form = draw(
        st.sampled_from(["exact", "range", "outside", "pattern", "hi", "lo", "both", "hole"])
    )

    def seen(bus: Bus) -> int:
        return bus.address % 256 if ports else bus.address

    low, high = sorted((draw(values), draw(values)))
    first, last = _hex_digits(low, digits), _hex_digits(high, digits)
    if form == "exact":
        return f"at {first}", lambda now, _: seen(now) == low
    if form == "range":
        return f"at {first}-{last}", lambda now, _: low <= seen(now) <= high
    if form == "outside":
        return f"outside {first}-{last}", lambda now, _: not low <= seen(now) <= high
    if form == "pattern":
        pattern = draw(_nibble_pattern(values, digits))
        return f"at {pattern}", lambda now, _: _agrees(seen(now), pattern)
    if form == "hole":
        start, end = sorted((draw(values), draw(values)))
        return (
            f"at {first}-{last} outside {_hex_digits(start, digits)}-{_hex_digits(end, digits)}",
            lambda now, _: low <= seen(now) <= high and not start <= seen(now) <= end,
        )
    byte = draw(_nibble_pattern(PORTS, 2))
    if form == "hi":
        return f"at hi {byte}", lambda now, _: _agrees(now.address // 256, byte)
    if form == "lo":
        return f"lo {byte}", lambda now, _: _agrees(now.address % 256, byte)
    return (
        f"outside {first}-{last} at lo {byte}",
        lambda now, _: not low <= seen(now) <= high and _agrees(now.address % 256, byte),
    )


@st.composite
def _data_part(draw: st.DrawFn) -> Part:
    form = draw(st.sampled_from(["exact", "range", "nibbles", "bits"]))
    low, high = sorted((draw(BYTES), draw(BYTES)))
    if form == "exact":
        return f"data {low:02X}", lambda now, _: now.data == low
    if form == "range":
        return f"data {low:02X}-{high:02X}", lambda now, _: low <= now.data <= high
    if form == "nibbles":
        pattern = draw(_nibble_pattern(BYTES, 2))
        return f"data {pattern}", lambda now, _: _agrees(now.data, pattern)
    bits = draw(st.text("01x", min_size=8, max_size=8))
    return f"data {bits}B", lambda now, _: all(
        b in ("x", s) for b, s in zip(bits, format(now.data, "08b"), strict=True)
    )


@st.composite
def _line_part(draw: st.DrawFn, names: list[str]) -> Part:
    name = draw(st.sampled_from(names))
    level = draw(st.sampled_from(["high", "low", "rises", "falls"]))
    meanings: dict[str, Callable[[Bus, Bus], bool]] = {
        "high": lambda now, _: now.high(name),
        "low": lambda now, _: not now.high(name),
        "rises": lambda now, before: now.high(name) and not before.high(name),
        "falls": lambda now, before: not now.high(name) and before.high(name),
    }
    return f"{name} {level}", meanings[level]


def _all_of(parts: list[Part]) -> Callable[[Bus, Bus], bool]:
    return lambda now, before: all(holds(now, before) for _, holds in parts)


@st.composite
def _line_parts(draw: st.DrawFn) -> list[Part]:
    names = draw(st.lists(st.sampled_from(sorted(LINE_BITS)), min_size=1, max_size=2, unique=True))
    return [draw(_line_part([name])) for name in names]


@st.composite
def _types_part(draw: st.DrawFn) -> tuple[Part, bool]:
    """Cycle types, and whether they are I/O cycles only."""
    form = draw(st.sampled_from(["any", "any", "any", "read", "finding", "list", "list", "ports"]))
    if form == "any":
        return ("on any", lambda now, _: now.type in MACHINE_CYCLES), False
    if form == "read":
        return ("on read", lambda now, _: now.type in ("MR", "IOR")), False
    if form == "finding":
        return (
            "on finding",
            lambda now, _: now.type in MACHINE_CYCLES and bool(now.lines & FINDING_BIT),
        ), False
    pool = ("IOR", "IOW") if form == "ports" else ALL_TYPES
    types = draw(st.lists(st.sampled_from(pool), min_size=1, max_size=4, unique=True))
    ports = set(types) <= {"IOR", "IOW"}
    return (f"on {','.join(types)}", lambda now, _: now.type in types), ports


@st.composite
def spec_step(draw: st.DrawFn) -> SpecStep:
    lines_only = draw(st.sampled_from([False, False, False, True]))
    passes = draw(st.sampled_from([0, 0, 0, 1, 2]))
    after = f" after {passes}" if passes else ""
    if lines_only:
        asked = draw(_line_parts())
        text = "when " + " and ".join(words for words, _ in asked)
        return SpecStep(text + after, _all_of(asked), True, passes)
    types, ports = draw(_types_part())
    parts = [types]
    # Each further part makes hits rarer; a condition that never hits tests little.
    kinds = draw(st.sets(st.sampled_from(["address", "data", "lines"]), max_size=2))
    if "address" in kinds:
        parts.append(draw(_address_part(ports)))
    if "data" in kinds:
        parts.append(draw(_data_part()))
    if "lines" in kinds:
        parts += [(f"with {words}", holds) for words, holds in draw(_line_parts())]
    text = " ".join(words for words, _ in parts)
    return SpecStep(text + after, _all_of(parts), False, passes)


SPECS = st.lists(spec_step(), min_size=1, max_size=3).map(lambda steps: Spec(tuple(steps)))


def cycle_number(bus: Bus) -> int:
    """The cycle type as a trace record stores it."""
    return int(Cycle[bus.type])
