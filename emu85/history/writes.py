"""Who wrote a byte of memory last, and who changed it: the CPU, a bus master, or a hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.board.deeds import Deed
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.bus.trace import Columns
from emu85.cpu.layout import INDEX_MASK, IO_BASE, MapBit
from emu85.history.journal import Entry
from emu85.history.seeking import Found, Seeker
from emu85.history.touched import Touched, of_writes

if TYPE_CHECKING:
    from emu85.history.history import History

_GAP = int(MapBit.NO_READER | MapBit.NO_WRITER)
_LOST = int(MapBit.NO_WRITER | MapBit.ROM)


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
        self._words = words
        self._cell = int(words[address]) & INDEX_MASK
        is_gap = int(words[address]) & _GAP == _GAP
        self._mirrors = (
            np.array([address]) if is_gap else np.flatnonzero(words & INDEX_MASK == self._cell)
        )

    @property
    def wanted(self) -> Touched:
        """What a stretch has touched if it wrote to it."""
        return of_writes(self._mirrors)

    def writes(self, records: Columns) -> NDArray[np.intp]:
        """Indices of the writes to it."""
        written = np.flatnonzero(records["type"] == Cycle.MW)
        return written[np.isin(records["address"][written], self._mirrors)]

    def changed(self, before: int, by_hand_before: int) -> Changed:
        """What changed it last.

        Args:
            before: writes that began at this T-state or later do not count.
            by_hand_before: nor does what was put there at this one or later.
        """
        put = self._last_put(by_hand_before)
        after = -1 if put is None else put.t
        write, change = self._on_trace(before, put)
        if change is None and self._history.machine.trace.forgotten:
            stretches = list(self._seeker.stretches(before, after, self.wanted))
            older, change = self._in_stretches(stretches, put) if stretches else (None, None)
            write = older if write is None else write
        if change is None:
            return Changed(write, put)
        is_same = write is not None and write["t"] == change["t"]
        return Changed(None if is_same else write, change)

    def is_lost(self, records: NDArray[np.void]) -> NDArray[np.bool_]:
        """Whether each write found ROM, or nobody there."""
        noted = records["lines"] & int(Line.FINDING) != 0
        lost: NDArray[np.bool_] = noted & (self._words[records["address"]] & _LOST != 0)
        return lost

    def _on_trace(self, before: int, put: ByHand | None) -> tuple[Found, Found]:
        """The last write, and the last that is known to have changed the byte."""
        trace = self._history.machine.trace
        records = trace.at(self.writes(trace.columns()))
        records = records[records["t"] < before]
        value = None
        if put is not None:
            records = records[records["t"] >= put.t]
            value = put.value if not trace.forgotten or trace[0]["t"] <= put.t else None
        elif not trace.forgotten:
            value = self._value_at(self._history.first_t)
        return self._last_two(records, value)

    def _in_stretches(
        self, stretches: list[tuple[int, int]], put: ByHand | None
    ) -> tuple[Found, Found]:
        write: Found = None
        with self._history.staying():
            for begin, end in stretches:
                last, change = self._in_stretch(begin, end, put)
                write = last if write is None else write
                if change is not None:
                    return write, change
        return write, None

    def _in_stretch(self, begin: int, end: int, put: ByHand | None) -> tuple[Found, Found]:
        write: Found = None
        change: Found = None
        value = self._value_at(begin)
        since = begin
        if put is not None and put.t >= begin:
            since, value = put.t, put.value
        for records, _ in self._seeker.pieces(begin, end):
            written = records[1:][self.writes(Columns(records[1:]))]
            written = written[written["t"] >= since]
            last, changing = self._last_two(written, value)
            write = write if last is None else last
            change = change if changing is None else changing
            kept = written[~self.is_lost(written)]
            value = int(kept[-1]["data"]) if len(kept) else value
        return write, change

    def _last_two(self, written: NDArray[np.void], value: int | None) -> tuple[Found, Found]:
        """The last of some writes, and the last of another byte than was there before.

        Args:
            value: the byte before the first of them, if it is known.
        """
        if not len(written):
            return None, None
        kept = written[~self.is_lost(written)]
        differs = np.zeros(len(kept), bool)
        differs[1:] = kept["data"][1:] != kept["data"][:-1]
        if len(kept) and value is not None:
            differs[0] = kept["data"][0] != value
        changing = np.flatnonzero(differs)
        return written[-1], kept[changing[-1]] if len(changing) else None

    def _value_at(self, snapshot_t: int) -> int:
        return self._history.byte_in_snapshot(snapshot_t, self._cell)

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
