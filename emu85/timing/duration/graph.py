"""Parts of a routine's graph that go round, and what is reached without what."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from emu85.timing.duration.steps import Edge

Edges = Mapping[int, Sequence[Edge]]
"""By their source."""


def inside(edges: Edges, nodes: Collection[int], head: int) -> dict[int, list[int]]:
    """Targets by source, of the edges that stay in ``nodes`` and do not lead to its head."""
    return {
        node: [edge.target for edge in edges[node] if edge.target in nodes and edge.target != head]
        for node in nodes
    }


def components(targets: Mapping[int, Sequence[int]]) -> list[frozenset[int]]:
    """Sets of nodes that reach one another, each before those that lead to it.

    Tarjan, "Depth-first search and linear graph algorithms", SIAM Journal on Computing 1
    (1972), without recursion.
    """
    number: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[int] = []
    done: set[int] = set()
    found: list[frozenset[int]] = []
    for root in sorted(targets):
        if root in number:
            continue
        work: list[tuple[int, Iterator[int]]] = [(root, iter(targets[root]))]
        number[root] = low[root] = len(number)
        stack.append(root)
        while work:
            node, rest = work[-1]
            following = next(rest, None)
            if following is None:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == number[node]:
                    cut = stack.index(node)
                    found.append(frozenset(stack[cut:]))
                    done.update(stack[cut:])
                    del stack[cut:]
            elif following not in number:
                number[following] = low[following] = len(number)
                stack.append(following)
                work.append((following, iter(targets[following])))
            elif following not in done:
                low[node] = min(low[node], number[following])
    return found


def goes_round(component: frozenset[int], targets: Mapping[int, Sequence[int]]) -> bool:
    """Whether a component is a loop, and not a node alone."""
    return len(component) > 1 or any(node in targets[node] for node in component)


def reached(
    targets: Mapping[int, Sequence[int]], start: int, without: int | None = None
) -> set[int]:
    """Nodes that are come to from ``start`` on ways that avoid one node."""
    found: set[int] = set()
    waiting = [start]
    while waiting:
        node = waiting.pop()
        if node in found or node == without:
            continue
        found.add(node)
        waiting.extend(targets[node])
    return found
