"""Who wrote a byte of memory last, and who changed it: the CPU, a bus master, or a hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board.deeds import Deed
from emu85.bus.cycles import Cycle
from emu85.bus.trace import Columns
from emu85.cpu.layout import INDEX_MASK, IO_BASE, MapBit
from emu85.history.journal import Entry
from emu85.history.seeking import Found, Seeker
from emu85.history.wanted import of_alterations
from emu85.stops import Condition, Step

if TYPE_CHECKING:
    from emu85.history.history import History

_GAP = int(MapBit.NO_READER | MapBit.NO_WRITER)
_LOST = int(MapBit.NO_WRITER | MapBit.ROM)


def _writes_to(addresses: NDArray[np.intp], low: int = 0, high: int = 0xFF) -> list[Condition]:
    """Writes of a byte from ``low`` to ``high`` to any of these addresses."""
    if low > high:
        return []
    kind = frozenset({Cycle.MW})
    return [
        Condition((Step(kind, at, at, data_low=low, data_high=high),)) for at in addresses.tolist()
    ]


class ByHand(NamedTuple):
    """A byte put into memory from outside.

    Attributes:
        t: T-state.
        value: the byte.
        is_loaded: it came with an image.
    """

    t: int
    value: int
    is_loaded: bool


class Changed(NamedTuple):
    """What has happened to a byte.

    Attributes:
        write: the record of the last write after :attr:`by`, if that is not the same; it
            left the byte as it was.
        by: the write (a record) that changed the byte last, or what was put there by
            hand since; None if it is as it was at power-on.
    """

    write: Found
    by: np.void | ByHand | None


class Byte:
    """One byte of memory, with all addresses at which it is found now.

    Where no chip answers an address is no other's mirror.
    """

    def __init__(self, history: History, seeker: Seeker, address: int) -> None:
        self._history = history
        self._seeker = seeker
        words = history.machine.board.map[:IO_BASE]
        self._cell = int(words[address]) & INDEX_MASK
        is_gap = int(words[address]) & _GAP == _GAP
        self._mirrors = (
            np.array([address]) if is_gap else np.flatnonzero(words & INDEX_MASK == self._cell)
        )
        self._taking = self._mirrors[words[self._mirrors] & _LOST == 0]

    def changed(self, before: int, by_hand_before: int) -> Changed:
        """What changed it last.

        Args:
            before: writes that began at this T-state or later do not count.
            by_hand_before: nor does what was put there at this one or later.
        """
        put = self._last_put(by_hand_before)
        write, change = self._on_trace(before, put)
        if change is None and self._history.machine.trace.forgotten:
            write, change = self._remade(before, put, write)
        if change is None:
            return Changed(write, put)
        is_same = write is not None and write["t"] == change["t"]
        return Changed(None if is_same else write, change)

    def _on_trace(self, before: int, put: ByHand | None) -> tuple[Found, Found]:
        """The last write, and the last that is known to have changed the byte."""
        trace = self._history.machine.trace
        records = trace.at(self._writes(trace.columns()))
        records = records[records["t"] < before]
        value = None
        if put is not None:
            records = records[records["t"] >= put.t]
            value = put.value if not trace.forgotten or trace[0]["t"] <= put.t else None
        elif not trace.forgotten:
            value = self._history.byte_in_snapshot(self._history.first_t, self._cell)
        return self._last_two(records, value)

    def _writes(self, records: Columns) -> NDArray[np.intp]:
        """Indices of the writes to it."""
        written = np.flatnonzero(records["type"] == Cycle.MW)
        return written[np.isin(records["address"][written], self._mirrors)]

    def _last_two(self, written: NDArray[np.void], value: int | None) -> tuple[Found, Found]:
        """The last of some writes, and the last of another byte than was there before.

        Args:
            value: the byte before the first of them, if it is known.
        """
        if not len(written):
            return None, None
        kept = written[np.isin(written["address"], self._taking)]
        differs = np.zeros(len(kept), bool)
        differs[1:] = kept["data"][1:] != kept["data"][:-1]
        if len(kept) and value is not None:
            differs[0] = kept["data"][0] != value
        changing = np.flatnonzero(differs)
        return written[-1], kept[changing[-1]] if len(changing) else None

    # --- in what the trace has forgotten -----------------------------------------------

    def _remade(self, before: int, put: ByHand | None, write: Found) -> tuple[Found, Found]:
        """The last write, if the trace has none, and the last that changed the byte."""
        if write is None:
            write = self._last_write(before, put)
        if write is None:
            return None, None
        with self._history.staying():
            return write, self._sought(int(write["t"]) + 1, put)

    def _last_write(self, before: int, put: ByHand | None) -> Found:
        after = -1 if put is None else put.t
        t = self._seeker.last_met(_writes_to(self._mirrors), before, after)
        return self._seeker.begun_at(t) if t >= max(after, 0) else None

    def _sought(self, before: int, put: ByHand | None) -> Found:
        """The write that changed the byte last."""
        after = -1 if put is None else put.t
        wanted = of_alterations(self._taking)
        for begin, end in list(self._seeker.stretches(before, after, wanted)):
            if put is not None and put.t >= begin:
                found = self._in_stretch(begin, put.t, end, put.value)
            else:
                value = self._history.byte_in_snapshot(begin, self._cell)
                found = self._in_stretch(begin, begin, end, value)
            if found is not None:
                return found
        return None

    def _in_stretch(self, begin: int, since: int, end: int, value: int) -> Found:
        """The write between two moments that changed the byte last; it was ``value`` at first."""
        history, seeker = self._history, self._seeker
        with history.staying():
            seeker.begin(begin, since)
            history.run_to(end)
            last = int(history.machine.board.store[self._cell]) & 0xFF
        others = [
            *_writes_to(self._taking, high=last - 1),
            *_writes_to(self._taking, low=last + 1),
        ]
        with history.staying(others) as stops:
            other = seeker.last_hit(stops, begin, end, since)
        if other < 0 and value == last:
            return None
        with history.staying(_writes_to(self._taking)) as stops:
            return seeker.first_hit(stops, begin, end, max(since, other + 1))

    # --- by hand ---------------------------------------------------------------------

    def _last_put(self, before: int) -> ByHand | None:
        journal = self._history.journal
        for entry in journal.entries[: journal.done][::-1]:
            value = self._put_by(entry) if entry.t < before else None
            if value is not None:
                return ByHand(entry.t, value, entry.deed.kind == "program")
        return None

    def _put_by(self, entry: Entry) -> int | None:
        """The byte that a deed has put there."""
        mirrors = set(self._mirrors.tolist())
        match entry.deed:
            case Deed("poke", (list(bytes_at),)):
                found = [value for at, value in bytes_at if at in mirrors]
            case Deed("program", (list(segments),)):
                found = [
                    data[at - start]
                    for start, data in segments
                    if isinstance(data, bytes)
                    for at in mirrors
                    if start <= at < start + len(data)
                ]
            case _:
                return None
        return int(found[-1]) if found and isinstance(found[-1], int) else None
