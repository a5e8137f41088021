"""The least and the most over all ways through a graph whose loops stand in one another.

A graph without its loops is gone through in order, and each node takes the shortest and the
longest of the ways that lead to it.  A loop is one node of the graph that it stands in: entered
at its head, left by one of its edges after so many whole passes and the beginning of one more.
Its passes are a graph again, that of its nodes without the edges back to the head.

Two loops that share their head (an inner count that is loaded once, outside, and is nought
whenever it begins again) are taken apart: the outer one gets a head of its own.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from emu85.timing.duration.counting import Bound, Round, Times
from emu85.timing.duration.graph import Edges, components, goes_round, inside, reached
from emu85.timing.duration.steps import Edge, Known, Steps
from emu85.timing.duration.ways import HERE, Both, Way

_SPACE = 0x10000
Departures = dict[Edge, Both]
"""Ways up to and with the edges that leave something."""


class Found(NamedTuple):
    """A loop that was met.

    Attributes:
        head: its address.
        passes: how often the head is come to, least and most; most is None for any number.
        pass_: what a pass takes that goes back to the head; None if none does.
        about: how the number of passes is known, or what they depend on.
        exits: addresses of the instructions by which it is left.
    """

    head: int
    passes: Times
    pass_: Both | None
    about: str
    exits: tuple[int, ...]


Bounding = Callable[[Round], Bound | None]


@dataclass
class Nest:
    """Works out the ways through a routine.

    Args:
        steps: what stands at a node.
        bounding: how often a loop goes round, if that can be told.

    Attributes:
        found: the loops.
    """

    steps: Steps
    bounding: Bounding
    found: list[Found] = field(default_factory=list)

    def through(self, nodes: Collection[int], entry: int, edges: Edges) -> Departures:
        """Ways from an entry out of some nodes, or back to the entry."""
        arrivals: dict[int, Both] = {entry: HERE}
        departures: Departures = {}
        targets = inside(edges, nodes, entry)

        def depart(edge: Edge, ways: Both) -> None:
            if edge.target in targets and edge.target != entry:
                arrivals[edge.target] = ways.or_(arrivals.get(edge.target))
            else:
                departures[edge] = ways.or_(departures.get(edge))

        for part in reversed(components(targets)):
            heads = [node for node in part if node in arrivals]
            if not heads:
                continue
            if not goes_round(part, targets):
                for edge in edges[heads[0]]:
                    depart(edge, arrivals[heads[0]].then(edge.ways))
            elif len(heads) == 1:
                for edge, ways in self._loop(part, heads[0], edges).items():
                    depart(edge, arrivals[heads[0]].then(ways))
            else:
                for edge, way in self._tangle(part, arrivals, edges).items():
                    depart(edge, Both(way, None))
        return departures

    def _loop(self, nodes: frozenset[int], head: int, edges: Edges) -> Departures:
        """Ways from a loop's head out of it."""
        loop = Round(nodes, head, edges, _entry(nodes, head, edges), self.steps)
        bound = self.bounding(loop)
        if bound is None and (split := _split(loop)):
            return self._loop(*split)
        departing = self.through(nodes, head, edges)
        pass_: Both | None = None
        for edge, ways in departing.items():
            if edge.target == head:
                pass_ = ways.or_(pass_)
        if bound is None:
            bound = Bound({edge: Times(0, None) for edge in loop.exits}, _depends(loop))
        leaving: Departures = {}
        for edge, times in bound.times.items():
            if edge in departing and (pass_ is not None or times.least == 0):
                passes = HERE if pass_ is None else pass_.times(*times)
                leaving[edge] = passes.then(departing[edge])
        self._note(loop, bound, pass_)
        return leaving

    def _note(self, loop: Round, bound: Bound, pass_: Both | None) -> None:
        times = list(bound.times.values())
        mosts = [time.most for time in times]
        most = None if None in mosts else max((m for m in mosts if m is not None), default=None)
        passes = Times(
            min((time.least for time in times), default=0) + 1, None if most is None else most + 1
        )
        exits = tuple(sorted({edge.source % _SPACE for edge in loop.exits}))
        self.found.append(Found(loop.head % _SPACE, passes, pass_, bound.about, exits))

    def _tangle(
        self, nodes: frozenset[int], arrivals: dict[int, Both], edges: Edges
    ) -> dict[Edge, Way]:
        """Shortest ways out of a loop that is entered at several places."""
        heads = sorted(node for node in nodes if node in arrivals)
        self.found.append(
            Found(heads[0] % _SPACE, Times(1, None), None, "it is entered at several places", ())
        )
        ways = {node: arrivals[node].least for node in heads}
        queue = [(way.t, node) for node, way in ways.items()]
        heapq.heapify(queue)
        leaving: dict[Edge, Way] = {}
        while queue:
            t, node = heapq.heappop(queue)
            if t > ways[node].t:
                continue
            for edge in edges[node]:
                way = ways[node].then(edge.ways.least)
                if edge.target not in nodes:
                    leaving[edge] = way
                elif edge.target not in ways or way.t < ways[edge.target].t:
                    ways[edge.target] = way
                    heapq.heappush(queue, (way.t, edge.target))
        return leaving


def _entry(nodes: Collection[int], head: int, edges: Edges) -> Known:
    """What is known where a loop is entered from outside."""
    known: Known | None = None
    for source, leading in edges.items():
        for edge in leading:
            if edge.target == head and source not in nodes:
                known = edge.known if known is None else known.joined(edge.known)
    assert known is not None  # something leads to it
    return known


def _depends(loop: Round) -> str:
    """What decides how often a loop goes round, in words."""
    conditions = []
    for at in sorted({edge.source for edge in loop.exits}):
        if at >= _SPACE:
            continue
        word = f"{loop.steps.text(at)} at {at:04X}"
        setter = loop.setter(at)
        if setter is not None:
            word += f" (flags of {loop.steps.text(setter)} at {setter:04X})"
        conditions.append(word)
    return f"depends on {', '.join(conditions)}" if conditions else "nothing leads out of it"


def _split(loop: Round) -> tuple[frozenset[int], int, dict[int, Sequence[Edge]]] | None:
    """The outer of two loops with one head, with a head of its own; None if there is but one."""
    latches = sorted(loop.latches)
    bodies = {latch: _body(loop, latch) for latch in latches}
    inner = min(bodies.values(), key=len)
    outer = [latch for latch in latches if latch not in inner]
    if not outer or any(not inner < bodies[latch] for latch in outer):
        return None
    head = loop.head + _SPACE
    while head in loop.edges:
        head += _SPACE
    edges: dict[int, Sequence[Edge]] = {}
    backs: list[Edge] = []
    for source, leading in loop.edges.items():
        moved = []
        for edge in leading:
            if edge.target == loop.head and source not in inner:
                edge = replace(edge, target=head)
                backs.append(edge)
            moved.append(edge)
        edges[source] = moved
    known = backs[0].known
    for edge in backs[1:]:
        known = known.joined(edge.known)
    edges[head] = [Edge(head, loop.head, HERE, known)]
    return loop.nodes | {head}, head, edges


def _body(loop: Round, latch: int) -> frozenset[int]:
    """Nodes of passes that end at a latch."""
    sources: dict[int, list[int]] = {node: [] for node in loop.nodes}
    for node, targets in loop.targets.items():
        for target in targets:
            sources[target].append(node)
    return frozenset(reached(sources, latch)) | {loop.head}
