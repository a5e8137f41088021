"""Addresses with the names that the firmware has for them."""

from __future__ import annotations

import bisect
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from emu85.firmware.disassembler import SymbolNames

if TYPE_CHECKING:
    from emu85.firmware.image import Run
    from emu85.machine import Machine

_FARTHEST = 0xFF
"""Bytes behind a label that are still told by it."""


class Places:
    """Looks names up by address.

    Attributes:
        in_code: the names, as the disassembler takes them.

    Args:
        symbols: name to value.
        equated: those names that stand for a value: they name no address.
        runs: where the firmware has or reserves bytes.  An address in one of them is
            told by a label before it in the same run; any other only by a label of
            exactly that address.
    """

    def __init__(
        self,
        symbols: Mapping[str, int],
        equated: Collection[str] = (),
        runs: Sequence[Run] = (),
    ) -> None:
        labels: dict[int, str] = {}
        for name, at in symbols.items():
            if name not in equated:
                labels.setdefault(at, name)  # of several the first
        self.in_code = SymbolNames(symbols, ())
        self._labels = labels
        self._addresses = sorted(labels)
        self._runs = runs

    @classmethod
    def of(cls, machine: Machine) -> Places:
        """The names that ``machine`` has; they are looked through once, until it gets others."""
        global _last
        source = (machine.symbols, machine.equated, machine.runs)
        sizes = tuple(map(len, source))
        if _last is None or _last.sizes != sizes or not _last.is_of(source):
            _last = _Made(source, sizes, cls(*source))
        return _last.places

    def exact(self, address: int) -> str:
        """The first label of exactly this address, or an empty string."""
        return self._labels.get(address, "")

    def near(self, address: int) -> str:
        """``NAME`` or ``NAME+12`` (hexadecimal) for this address, or an empty string."""
        exact = self.exact(address)
        if exact:
            return exact
        start = self._start_of_run(address)
        i = bisect.bisect_right(self._addresses, address) - 1
        if start is None or i < 0:
            return ""
        label = self._addresses[i]
        if label < start or address - label > _FARTHEST:
            return ""
        return f"{self._labels[label]}+{address - label:X}"

    def text(self, address: int) -> str:
        """The address in hexadecimal, with its name behind it if it has one."""
        name = self.near(address)
        return f"{address:04X} {name}" if name else f"{address:04X}"

    def _start_of_run(self, address: int) -> int | None:
        for start, end in self._runs:
            if start <= address < end:
                return start
        return None


_Source = tuple[Mapping[str, int], Collection[str], Sequence["Run"]]


class _Made(NamedTuple):
    """What :meth:`Places.of` was given last, and what it made of it.

    A machine's symbols are replaced as a whole; ``sizes`` tells of names that were added to
    them or taken away all the same.
    """

    source: _Source
    sizes: tuple[int, ...]
    places: Places

    def is_of(self, source: _Source) -> bool:
        """Whether these are the same objects."""
        return all(a is b for a, b in zip(self.source, source, strict=True))


_last: _Made | None = None
