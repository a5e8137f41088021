"""The ways through a routine kept apart: what is known on each is known there alone.

Where two ways meet, the analysis as a whole keeps what holds on both, so two conditions on
one test look independent, and a count that a branch of its loop looks at is lost.  Here a
node is an instruction together with all that is known before it, and ways meet only where
they know the same; a byte that is one of a few values makes a way of its own for each.  A
loop whose count is known is gone round pass by pass and ends by itself.

That is exact as far as it goes, and goes as far as :data:`MOST_NODES`.  A loop that comes
again to what it knew before has no end that could be told so, and is left to the other
method, as is all that has no most.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

from emu85.burn.state import HELD, Among, Flags, State
from emu85.isa import Reg
from emu85.timing.duration.steps import ZERO, CallEnd, Edge, Known
from emu85.timing.duration.ways import HERE, Both

MOST_NODES = 20_000
"""Instructions that are followed so in all, each again with other knowledge."""
_MOST_VALUES = 16
"""Values of one byte that make ways of their own."""
_MOST_ENDS = 16
"""Ends of a routine that its caller is told apart."""

_VISIBLE = HELD | {Reg.F}
"""Registers that an instruction leaves for the next; the temporary ones are not."""

Follow = Callable[[int, Known], Iterator[Edge]]


class Node(NamedTuple):
    """An instruction, and what is known before it."""

    address: int
    known: Known


class Apart:
    """Follows routines; what is left of :data:`MOST_NODES` is shared by all of them."""

    def __init__(self, follow: Follow) -> None:
        """``follow`` gives the edges that lead from an instruction."""
        self._follow = follow
        self._left = MOST_NODES

    def ends(self, address: int, entry: State) -> tuple[CallEnd, ...] | None:
        """How the routine returns; None if that cannot be told so, or it never does."""
        starts = [Node(address, known) for known in _each(Known(entry))]
        edges: dict[Node, list[tuple[Edge, list[Node]]]] = {}
        order = self._explore(starts, edges)
        if order is None:
            return None
        arrivals = dict.fromkeys(starts, HERE)
        ends: dict[tuple[int, Known], Both] = {}
        for node in reversed(order):
            arrived = arrivals[node]
            for edge, following in edges[node]:
                ways = arrived.then(edge.ways)
                if edge.target < 0:
                    key = edge.target, edge.known
                    ends[key] = ways.or_(ends.get(key))
                for each in following:
                    arrivals[each] = ways.or_(arrivals.get(each))
        return _few(ends) or None

    def _explore(
        self, starts: list[Node], edges: dict[Node, list[tuple[Edge, list[Node]]]]
    ) -> list[Node] | None:
        """All nodes, each behind those it leads to; None if that has no end."""
        order: list[Node] = []
        done: set[Node] = set()
        for start in starts:
            work: list[tuple[Node, Iterator[Node]]] = []
            following = self._enter(start, edges) if start not in edges else iter(())
            if following is None:
                return None
            if start not in done:
                work.append((start, following))
            while work:
                node, rest = work[-1]
                to = next(rest, None)
                if to is None:
                    work.pop()
                    done.add(node)
                    order.append(node)
                elif to not in edges:
                    following = self._enter(to, edges)
                    if following is None:
                        return None
                    work.append((to, following))
                elif to not in done:
                    return None  # it goes round with the same knowledge
        return order

    def _enter(
        self, node: Node, edges: dict[Node, list[tuple[Edge, list[Node]]]]
    ) -> Iterator[Node] | None:
        """Where a node leads; None if nothing tells, or too much has been followed."""
        self._left -= 1
        if self._left < 0:
            return None
        own = edges[node] = []
        for edge in self._follow(node.address, node.known):
            if edge.why or edge.ways.most is None:
                return None
            is_end = edge.target < 0
            own.append((edge, [] if is_end else [Node(edge.target, k) for k in _each(edge.known)]))
        return iter([to for _, following in own for to in following])


def _each(known: Known) -> Iterator[Known]:
    """What is known to programs, once for each value of bytes that are one of a few."""
    kept = [byte if n in _VISIBLE else None for n, byte in enumerate(known.state.registers)]
    yield from _split(Known(replace(known.state, registers=tuple(kept)), known.zeros))


def _split(known: Known) -> Iterator[Known]:
    for register, byte in enumerate(known.state.registers):
        if isinstance(byte, Among) and len(byte.values) <= _MOST_VALUES:
            for value in sorted(byte.values):
                registers = list(known.state.registers)
                registers[register] = value
                flags = known.state.flags
                if register in known.zeros:  # Z tells of this byte, and so the byte of Z
                    flags = Flags(flags.known | ZERO, flags.value & ~ZERO | ZERO * (value == 0))
                state = replace(known.state, registers=tuple(registers), flags=flags)
                yield from _split(Known(state, known.zeros))
            return
    yield known


def _few(ends: dict[tuple[int, Known], Both]) -> tuple[CallEnd, ...]:
    """The ends of a routine, with what holds on several of them where there are many."""
    if len(ends) <= _MOST_ENDS:
        return tuple(CallEnd(-1 - target, known, ways) for (target, known), ways in ends.items())
    joined: dict[int, CallEnd] = {}
    for (target, known), ways in ends.items():
        old = joined.get(target)
        if old is not None:
            known, ways = old.known.joined(known), ways.or_(old.ways)
        joined[target] = CallEnd(-1 - target, known, ways)
    return tuple(joined.values())
