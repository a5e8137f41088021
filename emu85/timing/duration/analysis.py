"""Routines followed with what is known when they are called.

What is known at an instruction holds on all ways to it; that is worked out first, for the
routine as a whole, and then the ways through what has been reached.  A routine is followed
anew for each caller that knows something else, so ``MVI C,5`` before a CALL counts.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from emu85.burn.ground import Ground
from emu85.burn.state import State, anywhere
from emu85.errors import UserError
from emu85.timing.delay.waits import BoardWaits
from emu85.timing.duration.apart import Apart
from emu85.timing.duration.counting import Bound, Round, Times, counted
from emu85.timing.duration.nest import Found, Nest
from emu85.timing.duration.steps import (
    CallEnd,
    Edge,
    Known,
    Steps,
    entering,
)
from emu85.timing.duration.ways import HERE, NO_WAY, Both

MOST_STEPS = 400_000
"""Instructions that are followed in all before it is given up."""
_MOST_UNROLLED = 20_000
"""Instructions that are followed to see how often one loop goes round."""
_DEEPEST = 40
"""Routines that call one another."""
_START = 1 << 40
"""The node before the first instruction."""


@dataclass(frozen=True, slots=True)
class Loop:
    """A loop that was met.

    Attributes:
        routine: where the routine begins in which it stands.
        loop: all about it.
    """

    routine: int
    loop: Found


class Result(NamedTuple):
    """What following a routine came to.

    Attributes:
        ends: the ways in which it returns; empty if it never does.
        why: why there is no most, beside loops without bound.
        loops: in it and in what it calls.
    """

    ends: tuple[CallEnd, ...]
    why: tuple[str, ...]
    loops: tuple[Loop, ...]

    @property
    def ways(self) -> Both | None:
        """From its first opcode fetch to the end of its return; None if it never does."""
        found: Both | None = None
        for end in self.ends:
            found = end.ways.or_(found)
        return found


class Analysis:
    """Follows routines of an image on a board.

    Args:
        at_most: passes at most, by the address of a loop's head.

    Attributes:
        limited: those heads of ``at_most`` that loops were found at.
    """

    def __init__(
        self, ground: Ground, waits: BoardWaits, at_most: Mapping[int, int] | None = None
    ) -> None:
        self._at_most = dict(at_most or {})
        self._steps = Steps(ground, waits, self._call)
        self._apart = Apart(self._steps.from_)
        self._results: dict[tuple[int, State], Result] = {}
        self._active: list[tuple[int, State]] = []
        self._heard: list[list[Result]] = [[]]
        self._left = MOST_STEPS
        self.limited: set[int] = set()

    def routine(self, address: int) -> Result:
        """Follow a routine of which nothing is known when it is called.

        Raises:
            UserError: no code of the image is there, or it is too much to follow.
        """
        if not self._steps.is_code(address):
            raise UserError(
                f"no code of the image is at {address:04X}", expected="an address of a routine"
            )
        return self._followed(address, entering())

    def _call(self, address: int, caller: State) -> tuple[list[CallEnd], str]:
        key = address, entering(caller)
        if key in self._active or len(self._active) > _DEEPEST:
            end = CallEnd(0, Known(anywhere()), Both(NO_WAY, None))
            return [end], f"the routine at {address:04X} calls itself"
        result = self._followed(*key)
        self._heard[-1].append(result)
        return list(result.ends), ""

    def _followed(self, address: int, entry: State) -> Result:
        key = address, entry
        if key not in self._results:
            self._active.append(key)
            self._heard.append([])
            self._results[key] = self._narrowed(address, entry, self._follow(address, entry))
            self._heard.pop()
            self._active.pop()
        return self._results[key]

    def _narrowed(self, address: int, entry: State, result: Result) -> Result:
        """With the ends that ways kept apart lead to, if they can be told.

        A limit that the user sets on a loop is heeded by the other method alone.
        """
        if self._at_most:
            return result
        ends = self._apart.ends(address, entry)
        if ends is None:
            return result
        narrowed = result._replace(ends=ends, why=())
        return narrowed if _is_within(narrowed.ways, result.ways) else result

    def _follow(self, address: int, entry: State) -> Result:
        known = {address: Known(entry)}
        self._spread(known, deque([address]))
        self._heard[-1].clear()
        edges = {node: list(self._steps.from_(node, at)) for node, at in known.items()}
        called = list(self._heard[-1])
        edges[_START] = [Edge(_START, address, HERE, Known(entry))]
        nest = Nest(self._steps, self._bound)
        ends: dict[int, CallEnd] = {}
        for edge, ways in nest.through(edges.keys(), _START, edges).items():
            ends[edge.target] = _end(edge, ways, ends.get(edge.target))
        why = [*_why(edges), *(each for result in called for each in result.why)]
        loops = [Loop(address, found) for found in nest.found]
        loops += [loop for result in called for loop in result.loops]
        return Result(tuple(ends.values()), tuple(dict.fromkeys(why)), tuple(dict.fromkeys(loops)))

    def _spread(
        self, known: dict[int, Known], work: deque[int], loop: Round | None = None
    ) -> list[Edge]:
        """Go on from the nodes in ``work`` until nothing new is known.

        Args:
            loop: only one pass of it is gone.

        Returns:
            all edges that were gone, with what is known at last.
        """
        gone: dict[int, list[Edge]] = {}
        while work:
            node = work.popleft()
            self._spend()
            gone[node] = list(self._steps.from_(node, known[node]))
            for edge in gone[node]:
                target = edge.target
                if target < 0 or (loop and (target == loop.head or target not in loop.nodes)):
                    continue
                old = known.get(target)
                new = edge.known if old is None else old.joined(edge.known)
                if new != old:
                    known[target] = new
                    if target not in work:
                        work.append(target)
        return [edge for edges in gone.values() for edge in edges]

    def _spend(self) -> None:
        self._left -= 1
        if self._left < 0:
            raise UserError(
                f"more than {MOST_STEPS} instructions would have to be followed",
                expected="a routine that calls less",
            )

    # --- how often loops go round --------------------------------------------------------

    def _bound(self, loop: Round) -> Bound | None:
        bound = counted(loop) or self._unrolled(loop)
        head = loop.head & 0xFFFF
        if head not in self._at_most:
            return bound
        self.limited.add(head)
        limit = self._at_most[head] - 1
        times = dict.fromkeys(loop.exits, Times(0, None)) if bound is None else bound.times
        return Bound(
            {edge: _limited(time, limit) for edge, time in times.items() if time.least <= limit},
            f"at most {limit + 1} as was said",
        )

    def _unrolled(self, loop: Round) -> Bound | None:
        """Follow a loop pass by pass for as long as what is known changes."""
        if any(node > 0xFFFF for node in loop.nodes):
            return None
        seen: set[Known] = set()
        times: dict[tuple[int, int, bool | None], Times] = {}
        entry, enough = loop.entry, self._left - _MOST_UNROLLED
        for passes in itertools.count():
            if entry in seen or self._left < enough:
                return None
            seen.add(entry)
            back: Known | None = None
            for edge in self._spread({loop.head: entry}, deque([loop.head]), loop):
                if edge.target == loop.head:
                    back = edge.known if back is None else back.joined(edge.known)
                elif edge.target not in loop.nodes:
                    least = times.get(_key(edge), Times(passes, passes)).least
                    times[_key(edge)] = Times(least, passes)
            if back is None:
                break
            entry = back
        found = {edge: times[_key(edge)] for edge in loop.exits if _key(edge) in times}
        return Bound(found, "its registers, followed pass by pass, tell")


def _key(edge: Edge) -> tuple[int, int, bool | None]:
    return edge.source, edge.target, edge.jumps


def _is_within(one: Both | None, other: Both | None) -> bool:
    """Whether the least and the most are as near to each other as the other's, or nearer."""
    if one is None or other is None:
        return other is None
    is_below = other.most is None or (one.most is not None and one.most.t <= other.most.t)
    return is_below and one.least.t >= other.least.t


def _limited(times: Times, limit: int) -> Times:
    return Times(times.least, limit if times.most is None else min(times.most, limit))


def _end(edge: Edge, ways: Both, old: CallEnd | None) -> CallEnd:
    known = edge.known if old is None else old.known.joined(edge.known)
    return CallEnd(-1 - edge.target, known, ways.or_(old.ways if old else None))


def _why(edges: Mapping[int, list[Edge]]) -> Iterator[str]:
    for source, leading in sorted(edges.items()):
        for edge in leading:
            if edge.why:
                yield f"{edge.why} (at {source:04X})"
