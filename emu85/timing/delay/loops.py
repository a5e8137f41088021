"""Loops that count down, and what they take.

A loop with the counter ``n`` takes

    load + n * (body + count + JNZ taken) - (JNZ taken - JNZ not taken)

T-states, since the last JNZ does not jump.  The body of an outer loop is its padding and the
whole inner loop, the loading of its counter included.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from emu85.errors import UserError, nearest
from emu85.timing.delay.costs import Waits, named, t_states

_BYTES = "BCDEHLA"
_LOW = {"B": "C", "D": "E", "H": "L"}
MOST_LEVELS = 3


@dataclass(frozen=True, slots=True)
class Counter:
    """A register, or a pair that A and ORA help to test, since DCX leaves Z alone."""

    name: str

    @property
    def is_pair(self) -> bool:
        """Whether it counts to 65536 instead of 256."""
        return len(self.name) > 1

    @property
    def most(self) -> int:
        """Passes at most; the counter is then loaded with 0."""
        return 0x10000 if self.is_pair else 0x100

    @property
    def load(self) -> str:
        """Name of the instruction that loads it."""
        return f"{'LXI' if self.is_pair else 'MVI'} {self.name[0]}"

    @property
    def count(self) -> tuple[str, ...]:
        """Names of the instructions that count down and set Z."""
        if not self.is_pair:
            return (f"DCR {self.name}",)
        high, low = self.name[0], self.name[1]
        return f"DCX {high}", f"MOV A,{high}", f"ORA {low}"

    @property
    def registers(self) -> frozenset[str]:
        """What it destroys beside the flags."""
        return frozenset(self.name) | ({"A"} if self.is_pair else set())


@dataclass(frozen=True)
class Level:
    """One loop of a nest with its costs in T-states."""

    counter: Counter
    waits: Waits

    @cached_property
    def load(self) -> int:
        """Of loading the counter."""
        return t_states(named(self.counter.load), self.waits)

    @cached_property
    def step(self) -> int:
        """Of counting down and the JNZ that is taken."""
        return sum(t_states(named(name), self.waits) for name in self.counter.count) + self.taken

    @cached_property
    def taken(self) -> int:
        """Of the JNZ back."""
        return t_states(named("JNZ"), self.waits)

    @cached_property
    def not_taken(self) -> int:
        """Of the JNZ in the last pass."""
        return t_states(named("JNZ"), self.waits, taken=False)

    @cached_property
    def size(self) -> int:
        """Bytes, the body left out."""
        names = (self.counter.load, *self.counter.count, "JNZ")
        return sum(named(name).length for name in names)

    def whole(self, passes: int, body: int) -> int:
        """T-states of all passes, loading included."""
        return self.load + passes * (body + self.step) - (self.taken - self.not_taken)


Nest = tuple[Counter, ...]
"""Outermost first; empty for padding alone."""
Nests = Sequence[Nest]


def _nest(text: str) -> Nest:
    return tuple(Counter(name) for name in text.split(","))


USUAL: Nests = (
    (),
    *map(_nest, ("B", "BC", "B,C", "D,BC", "B,C,D", "BC,DE")),
)
"""What is tried if the user does not say which registers may be used."""


def read_nests(text: str) -> Nests:
    """Nests of the counters that the user allows: ``B``, ``BC``, ``BC,DE``, outermost first.

    Returns:
        padding alone, and nests of the first counter, the first two, and so on.

    Raises:
        UserError: a counter that is none, too many, or a register that is used twice.
    """
    counters: list[Counter] = []
    for word in text.split(","):
        counters.append(_counter(word.strip()))
    if len(counters) > MOST_LEVELS:
        raise UserError(f"{len(counters)} counters are too many", expected=f"at most {MOST_LEVELS}")
    for i, one in enumerate(counters):
        for other in counters[:i]:
            both = one.registers & other.registers - {"A" * (one.is_pair and other.is_pair)}
            if both:
                raise UserError(
                    f"{other.name} and {one.name} both need {', '.join(sorted(both))}",
                    expected="counters that share no register; a pair needs A besides",
                )
    return tuple(tuple(counters[:depth]) for depth in range(len(counters) + 1))


def of_depth(nests: Nests, levels: int) -> Nests:
    """Those of so many loops one in another.

    Raises:
        UserError: there are none.
    """
    found = tuple(nest for nest in nests if len(nest) == levels)
    if not found:
        deepest = max(map(len, nests))
        raise UserError(
            f"no {levels} levels can be made", expected=f"at most {deepest} with these registers"
        )
    return found


def _counter(word: str) -> Counter:
    names = [*_BYTES, *(high + low for high, low in _LOW.items())]
    name = word.upper()
    if name not in names:
        raise UserError(
            f"{word!r} is no counter",
            expected=f"one of {', '.join(names)}, or up to {MOST_LEVELS} of them with commas",
            nearest=nearest(word, names),
        )
    return Counter(name)
