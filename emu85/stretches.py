"""Stretches: what lies side by side, told by where it begins and ends."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray


def of_true(mask: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Where each run of True begins, and the place after its end.

    Args:
        mask: bool, of one dimension.
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def of_addresses(addresses: Sequence[int], cuts: Container[int]) -> Iterator[tuple[int, int]]:
    """First and last of addresses in a row.

    Args:
        addresses: in order.
        cuts: where another stretch begins in any case.
    """
    first = None
    for at, following in zip_longest(addresses, addresses[1:]):
        first = at if first is None else first
        if following != at + 1 or following in cuts:
            yield first, at
            first = None
