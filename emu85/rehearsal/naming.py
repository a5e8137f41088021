"""Addresses as a recording writes them: by a symbol where there is one, unless it is exact."""

from __future__ import annotations

import re

from emu85.console.numbers import address as read_address
from emu85.console.views.places import Places
from emu85.errors import UserError
from emu85.machine import Machine

_WORD = re.compile(r"([^\W\d][\w?@.$]*)(\+[0-9A-Fa-f]+\b)?")


class Names:
    """Finds names for addresses; those that the user has written come first, as written.

    Args:
        machine: whose symbols they are.
        digits_only: an exact recording has no use for names, which other builds may move.
    """

    def __init__(self, machine: Machine, *, digits_only: bool) -> None:
        self._machine = machine
        self._digits_only = digits_only
        self._written: dict[str, None] = {}

    def learn(self, text: str) -> None:
        """Take note of the symbols in a line of the user's."""
        by_folded = {name.casefold(): name for name in self._machine.symbols}
        for word, offset in _WORD.findall(text):
            name = by_folded.get(word.casefold())
            if name is not None:
                self._written[f"{name}{offset}"] = None

    def text(self, address: int) -> str:
        """A symbol, one with an offset, or four digits."""
        if self._digits_only:
            return f"{address:04X}"
        name = self._written_for(address) or Places.of(self._machine).near(address)
        return name if name and self._means(name, address) else f"{address:04X}"

    def port(self, port: int) -> str:
        """A symbol, if the user has written one, or two digits.

        Where none was written there is none: small numbers have many names.
        """
        name = "" if self._digits_only else self._written_for(port)
        return name or f"{port:02X}"

    def behind(self, name: str, offset: int) -> str:
        """The address so many bytes behind one that :meth:`text` has named."""
        if not offset:
            return name
        base = read_address(name, self._machine.symbols, 0xFFFF, "")
        first, _, more = name.partition("+")
        if not first[:1].isalpha() or name == f"{base:04X}":
            return f"{base + offset:04X}"
        return f"{first}+{int(more or '0', 16) + offset:X}"

    def _written_for(self, value: int) -> str:
        return next((name for name in self._written if self._means(name, value)), "")

    def _means(self, name: str, address: int) -> bool:
        """Whether the console would read it so."""
        try:
            return read_address(name, self._machine.symbols, 0xFFFF, "") == address
        except UserError:
            return False
