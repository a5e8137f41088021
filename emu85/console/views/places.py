"""Addresses with the names that a symbol table has for them."""

from __future__ import annotations

import bisect
from collections.abc import Mapping

_FARTHEST = 0xFF
"""Bytes behind a symbol that are still told by it."""


class Places:
    """Looks names up by address.

    Args:
        symbols: name to address.
    """

    def __init__(self, symbols: Mapping[str, int]) -> None:
        # Of several names of an address the first given counts: labels come first.
        pairs = sorted(((at, name) for name, at in symbols.items()), key=lambda pair: pair[0])
        self._addresses = [at for at, _ in pairs]
        self._names = [name for _, name in pairs]

    def exact(self, address: int) -> str:
        """The first name of exactly this address, or an empty string."""
        i = bisect.bisect_left(self._addresses, address)
        if i < len(self._addresses) and self._addresses[i] == address:
            return self._names[i]
        return ""

    def near(self, address: int) -> str:
        """``NAME`` or ``NAME+12`` (hexadecimal) for this address, or an empty string."""
        exact = self.exact(address)
        if exact:
            return exact
        i = bisect.bisect_right(self._addresses, address) - 1
        if i < 0 or address - self._addresses[i] > _FARTHEST:
            return ""
        first = bisect.bisect_left(self._addresses, self._addresses[i])
        return f"{self._names[first]}+{address - self._addresses[i]:X}"

    def text(self, address: int) -> str:
        """The address in hexadecimal, with its name behind it if it has one."""
        name = self.near(address)
        return f"{address:04X} {name}" if name else f"{address:04X}"
