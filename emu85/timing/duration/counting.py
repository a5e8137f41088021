"""Loops that count: how often they go round, told from their counter.

A counter is a register that one DCR or INR of the loop changes and nothing else, or a pair
with DCX or INX; each pass goes through that instruction once, and once through a test that
leaves the loop when the counter has come to a number.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from emu85.burn.moves import MOVES, Way
from emu85.burn.state import values_of
from emu85.isa import Condition, Instruction, Op, Reg
from emu85.timing.duration.graph import Edges, components, goes_round, inside, reached
from emu85.timing.duration.steps import Edge, Known, Steps

_FARTHEST = 12
"""Instructions before a test among which that is looked for which sets its flag."""
_PAIRS = {Reg.B: Reg.C, Reg.D: Reg.E, Reg.H: Reg.L}
_COUNTS = {Op.DCR: -1, Op.INR: 1, Op.DCX: -1, Op.INX: 1}


class Times(NamedTuple):
    """How many whole passes come before an edge leaves the loop; ``most`` None for any number."""

    least: int
    most: int | None


@dataclass(frozen=True, slots=True)
class Bound:
    """Of a loop.

    Attributes:
        times: by the edges that leave it; those that never do are left out.
        about: how that is known.
    """

    times: dict[Edge, Times]
    about: str


class Test(NamedTuple):
    """The flag Z tells whether ``registers`` hold ``value``, as of the instruction ``at``."""

    registers: tuple[Reg, ...]
    value: int
    at: int


@dataclass(frozen=True)
class Round:
    """A loop of a routine's graph.

    Attributes:
        nodes, head: what goes round, and where it is entered.
        edges: of the whole graph.
        entry: what is known where it is entered from outside.
        steps: what stands at a node.
    """

    nodes: frozenset[int]
    head: int
    edges: Edges
    entry: Known
    steps: Steps

    def instruction(self, node: int) -> Instruction:
        """What stands at a node."""
        return self.steps.instruction(node)

    @cached_property
    def own(self) -> list[Edge]:
        """Edges from its nodes."""
        return [edge for node in sorted(self.nodes) for edge in self.edges[node]]

    @cached_property
    def exits(self) -> list[Edge]:
        """Edges that leave it."""
        return [edge for edge in self.own if edge.target not in self.nodes]

    @cached_property
    def latches(self) -> set[int]:
        """Where its passes end."""
        return {edge.source for edge in self.own if edge.target == self.head}

    @cached_property
    def targets(self) -> dict[int, list[int]]:
        """Of one pass."""
        return inside(self.edges, self.nodes, self.head)

    @cached_property
    def _in_inner_loops(self) -> set[int]:
        parts = components(self.targets)
        return {node for part in parts if goes_round(part, self.targets) for node in part}

    def once_a_pass(self, node: int) -> bool:
        """Whether each whole pass goes through a node just once."""
        if node in self._in_inner_loops:
            return False
        return not reached(self.targets, self.head, without=node) & self.latches

    def always_before(self, node: int, other: int) -> bool:
        """Whether a pass comes to ``other`` only through ``node``."""
        return other not in reached(self.targets, self.head, without=node)

    def _nodes_before(self, node: int) -> Iterator[int]:
        for _ in range(_FARTHEST):
            leading = [edge for edge in self.own if edge.target == node]
            if node == self.head or len(leading) != 1 or leading[0].source > 0xFFFF:
                return
            node = leading[0].source
            yield node

    def setter(self, node: int) -> int | None:
        """The instruction that set Z last before a node, if it is the same on all ways."""
        for at in self._nodes_before(node):
            if "Z" in self.instruction(at).flags.split():
                return at
            if MOVES[self.instruction(at).opcode].way in (Way.CALL, Way.RESTART):
                return None
        return None

    def test(self, node: int) -> Test | None:
        """What Z tells at a node."""
        at = self.setter(node)
        return None if at is None else self._set_by(self.instruction(at), at)

    def _set_by(self, one: Instruction, at: int) -> Test | None:
        last = one.cycles[-1]
        if last.does in (Op.DCR, Op.INR) and last.register != Reg.TMP:
            return Test((last.register,), 0, at)
        if last.does in (Op.ORA, Op.ANA) and last.operand == Reg.A:
            return Test((self._origin_of_a(at),), 0, at)
        if one.mnemonic == "CPI":
            return Test((self._origin_of_a(at),), self._operand(at), at)
        if last.does is Op.ORA and last.operand != Reg.TMP:
            both = {self._origin_of_a(at), Reg(last.operand)}
            pair = next(((high, low) for high, low in _PAIRS.items() if both == {high, low}), None)
            return None if pair is None else Test(pair, 0, at)
        return None

    def _operand(self, at: int) -> int:
        """What CPI compares with: the temporary register has it afterwards."""
        edge = self.edges[at][0]
        value = edge.known.state.registers[Reg.TMP]
        assert isinstance(value, int)
        return value

    def _origin_of_a(self, at: int) -> Reg:
        """The register that A is a copy of, or A."""
        passed: set[Reg] = set()
        for node in self._nodes_before(at):
            one = self.instruction(node)
            changes = {reg for edge in self.edges[node] for reg in edge.changes}
            if Reg.A in changes:
                last = one.cycles[-1]
                origin = Reg(last.operand) if last.does is Op.MOVE else Reg.A
                return Reg.A if origin in passed else origin
            passed |= changes
        return Reg.A


def counted(loop: Round) -> Bound | None:
    """The bound that a counter gives, the closest if there are several; None for none."""
    found = [bound for edge in loop.exits if (bound := _by(loop, edge))]
    return min(found, key=_longest, default=None)


def _longest(bound: Bound) -> int:
    return max(times.most or 0 for times in bound.times.values())


def _by(loop: Round, edge: Edge) -> Bound | None:
    """The bound that leaving by an edge gives."""
    if not _on_zero(loop, edge) or not loop.once_a_pass(edge.source):
        return None
    test = loop.test(edge.source)
    if test is None:
        return None
    changing = {e.source for e in loop.own if e.changes & set(test.registers)}
    if len(changing) != 1:
        return None
    at = changing.pop()
    last = loop.instruction(at).cycles[-1]
    if last.does not in _COUNTS or not loop.once_a_pass(at):
        return None
    if (last.does in (Op.DCX, Op.INX)) != (len(test.registers) == 2):
        return None
    is_first = at == test.at or loop.always_before(at, test.at)
    if not is_first and not loop.always_before(test.at, at):
        return None
    start = _start(loop.entry, test)
    passes = _passes(start, test, _COUNTS[last.does], is_first)
    times = {edge: passes}
    for other in loop.exits:
        if other is edge:
            continue
        after = loop.always_before(edge.source, other.source) and other.source != edge.source
        most = (passes.most or 0) - int(after)
        if most >= 0:
            times[other] = Times(0, most)
    return Bound(times, _about(loop, test, at, start))


def _on_zero(loop: Round, edge: Edge) -> bool:
    condition = loop.instruction(edge.source).condition
    return (condition is Condition.Z and edge.jumps is True) or (
        condition is Condition.NZ and edge.jumps is False
    )


def _start(entry: Known, test: Test) -> Sequence[int] | None:
    """What the counter can begin with, least first; None for anything."""
    starts = [0]
    for reg in test.registers:
        values = values_of(entry.state.registers[reg])
        if values is None:
            return None
        starts = [high << 8 | low for high in starts for low in values]
    return sorted(starts)


def _passes(starts: Sequence[int] | None, test: Test, by: int, is_first: bool) -> Times:
    space = 0x100 ** len(test.registers)
    if starts is None:
        return Times(0, space - 1)
    counts = [(test.value - start) * by % space for start in starts]
    whole = [(count or space) - 1 if is_first else count for count in counts]
    return Times(min(whole), max(whole))


def _about(loop: Round, test: Test, at: int, starts: Sequence[int] | None) -> str:
    name = "".join(reg.name for reg in test.registers)
    begins = "whatever it begins with"
    if starts is not None:
        one_or_several = f"{starts[0]} .. {starts[-1]}" if len(starts) > 1 else f"{starts[0]}"
        begins = f"from {one_or_several}"
    return f"{loop.steps.text(at)} counts {name} {begins} to {test.value}"
