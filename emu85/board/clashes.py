"""Chips that a board file selects together: allowed, as on the bench, but told.

Incomplete decoding may be meant, so a clash is no error; the bus then shows what
both chips give, and a finding counts it.  A chip that only answers reads and one
that only takes writes share an address in peace.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from emu85.board.decode import Decoded
from emu85.board.nodes import Node


@dataclass(frozen=True, slots=True)
class Selected:
    """A chip as far as a clash is concerned.

    Attributes:
        node: where the board file names it.
        reads, writes: whether it answers reads, whether it takes writes.
    """

    decoded: Decoded
    node: Node
    reads: bool
    writes: bool


def clashes(chips: Sequence[Selected]) -> Iterator[str]:
    """A line for each pair that answers or listens at one address, placed at the second."""
    for first, second in combinations(chips, 2):
        if first.decoded.is_port != second.decoded.is_port:
            continue
        if not (first.reads and second.reads) and not (first.writes and second.writes):
            continue
        shared = np.intersect1d(first.decoded.addresses, second.decoded.addresses)
        if len(shared):
            yield _told(first, second, int(shared[0]), int(shared[-1]))


def _told(first: Selected, second: Selected, low: int, high: int) -> str:
    digits = 2 if second.decoded.is_port else 4
    where = f"{low:0{digits}X}" + (f"-{high:0{digits}X}" if high != low else "")
    what = "port" if second.decoded.is_port else "address"
    if first.reads and second.reads:
        does, so = "answers", "does"
    else:
        does, so = "is written", "is"
    return (
        f"{second.node.place}: {second.decoded.name} {does} at {what} {where}, "
        f"and so {so} {first.decoded.name} (line {first.node.place.line})"
    )
