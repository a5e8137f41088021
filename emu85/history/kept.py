"""A machine's moment as plain data: how it began, and all that was done since.

A machine is the same in every run, so that is enough to come to the moment again, with
all of the past that led to it.  A digest of the moment says whether it is the same::

    {"began": "...", "programmed": "...", "first T": 3,
     "done": [[40000, "send", "usart", {"bytes": "Pw=="}], [52000, "reset"]],
     "stops": [[1, 41000, [[1, 0, 0, -1]]]], "T": 61443, "digest": "..."}

``stops`` says from when on armed stops have counted what they have: their numbers, the
T-states, and what they began with (``Stop.counts``).  Without it, they count from the
moment on.
"""

from __future__ import annotations

import base64
import hashlib
import zlib
from typing import Any

import numpy as np

from emu85.board.contents import Contents
from emu85.board.deeds import Deed, Plain
from emu85.cpu.layout import State
from emu85.errors import UserError
from emu85.history.history import History
from emu85.history.journal import Entry
from emu85.history.snapshot import MOTION_CELLS
from emu85.history.stops_then import Beginning, Counts
from emu85.machine import Machine
from emu85.stops import Stop, StopSet

_MOST_BYTES = 1 << 24
_LATEST_T = 10**15
"""Ten years of board time at 3 MHz."""
_RECORDS = 1000
_LEFT_OUT = set(MOTION_CELLS) - {State.MOVED}
_EXPECTED = "a moment as 'save' wrote it"


class _Unfit(ValueError):
    """What is wrong, in our words."""


def moment_data(history: History) -> dict[str, Any]:
    """The machine's present moment, as JSON may hold it.

    What was to come, if the machine is in its past, is no part of it.
    """
    stops = history.beginnings
    began = history.beginning
    done = history.journal.entries[: history.journal.done]
    return {
        "began": _packed(began.store),
        "programmed": _packed(began.programmed),
        "first T": history.first_t,
        "done": [[entry.t, entry.deed.kind, *map(_plain, entry.deed.about)] for entry in done],
        "stops": [[stop.number, b.t, b.counts.tolist()] for stop, b in stops.items()],
        "T": history.machine.t,
        "digest": digest(history.machine),
    }


def bring_back(history: History, data: Any, stops: StopSet) -> None:
    """Make the machine come to a moment from :func:`moment_data`.

    Args:
        stops: put in place of the user's; they are as they were at the moment.

    Raises:
        UserError: it is no such data, or the machine does not come to the moment; the
            machine and its history are as they were then.
    """
    contents, entries, t = _read(history, data)
    beginnings = _beginnings(data, stops, t)
    present = history.machine.stops
    before, stops_before = history.kept(), present.kept("user")
    counted = {stop: stop.counts for stop in stops}
    try:
        present.take_over(stops)
        history.begin_anew(contents, beginnings)
        _come_to(history, entries, t)
        is_same = data["digest"] in (digest(history.machine), _former_digest(history.machine))
        for stop, counts in counted.items():
            if not stop.armed:
                stop.counts = counts
            is_same = is_same and (stop.counts == counts).all()
        if not is_same:
            raise UserError(
                "the board does not come to the same moment",
                expected="the board, the devices and the emu85 that it was saved with",
            )
    except Exception as error:  # broken off, too
        history.put_back(before)
        present.put_back("user", stops_before)
        if not isinstance(error, LookupError | ValueError | TypeError | OverflowError):
            raise
        raise UserError(
            "the board cannot do what was done before the moment", expected=_EXPECTED
        ) from None


def digest(machine: Machine) -> str:
    """SHA-256 of what the CPU and memory hold, and of the last machine cycle.

    It is the same whatever the length of the trace.
    """
    return _digest(machine, {*_LEFT_OUT, State.POSITION}, 1)


def _former_digest(machine: Machine) -> str:
    """The one that files had at first; it depended on the length of the trace."""
    return _digest(machine, _LEFT_OUT, _RECORDS)


def _digest(machine: Machine, left_out: set[State], records: int) -> str:
    state = machine.registers.state.tolist()
    state[State.MOVED] = 0  # as it was when there was no such cell
    cells = [value for cell, value in enumerate(state) if cell not in left_out]
    made = hashlib.sha256(repr(cells).encode())
    made.update(machine.board.store.tobytes())
    made.update(machine.trace.last(records).tobytes())
    return made.hexdigest()


def _come_to(history: History, entries: list[Entry], t: int) -> None:
    history.journal.entries = entries
    history.latest_t = t
    history.go_to(t)


# --- reading and writing ------------------------------------------------------------------


def _read(history: History, data: Any) -> tuple[Contents, list[Entry], int]:
    try:
        contents = Contents(_unpacked(data["began"]), _unpacked(data["programmed"]))
        entries = [_entry(each) for each in data["done"]]
        times = [entry.t for entry in entries]
        t, first_t = data["T"], data["first T"]
        if not all(isinstance(each, int) for each in (t, first_t, *times)):
            raise _Unfit("a T-state is no number")
        if max(t, first_t, *times) > _LATEST_T:
            raise _Unfit("a T-state is too late for any board")
        if times != sorted(times) or not first_t <= min([t, *times]) or t < max([t, *times]):
            raise _Unfit("T-states are out of order")
        if first_t != history.first_t:
            raise _Unfit(f"the history begins at T {first_t}")
    except _Unfit as error:
        raise UserError(f"the moment cannot be read: {error}", expected=_EXPECTED) from None
    except (LookupError, TypeError, ValueError, zlib.error):
        raise UserError(
            "the moment cannot be read: a part of it is missing or no such part",
            expected=_EXPECTED,
        ) from None
    return contents, entries, t


def _beginnings(data: Any, stops: StopSet, t: int) -> dict[Stop, Beginning]:
    armed = {stop.number: stop for stop in stops if stop.armed}
    beginnings = {stop: Beginning(t, stop.counts) for stop in armed.values()}
    try:
        for number, since, counts in data.get("stops", []):
            beginnings[armed[number]] = Beginning(since, _counts(counts, armed[number]))
            if type(since) is not int or not 0 <= since <= t:
                raise _Unfit("a stop began to count at no moment before")
    except (LookupError, TypeError, ValueError, OverflowError):
        raise UserError(
            "the moment cannot be read: what its stops had counted is no such part",
            expected=_EXPECTED,
        ) from None
    return beginnings


def _counts(rows: Any, stop: Stop) -> Counts:
    counts = np.array(rows, np.int64)
    if counts.shape != stop.counts.shape:
        raise _Unfit("a stop has other steps")
    return counts


def _entry(row: Any) -> Entry:
    t, kind, *about = row
    return Entry(t, Deed(str(kind), tuple(_deed_part(part) for part in about)))


def _deed_part(part: Any) -> Any:
    if isinstance(part, list):
        return [(at, _deed_part(value)) for at, value in part]
    if isinstance(part, dict):
        return base64.b64decode(part["bytes"], validate=True)
    if isinstance(part, str | int):
        return part
    raise _Unfit(f"{part!r} is no part of a deed")


def _plain(part: Plain | bytes | int) -> Any:
    if isinstance(part, bytes):
        return {"bytes": base64.b64encode(part).decode()}
    if isinstance(part, list):
        return [[at, _plain(value)] for at, value in part]
    return part


def _packed(data: bytes) -> str:
    return base64.b64encode(zlib.compress(data, 9)).decode()


def _unpacked(text: Any) -> bytes:
    unpacker = zlib.decompressobj()
    data = unpacker.decompress(base64.b64decode(text, validate=True), _MOST_BYTES)
    if unpacker.unconsumed_tail or not unpacker.eof:
        raise _Unfit("packed bytes are cut off or too many")
    return data
