"""A session kept in a file, as JSON: stops, symbols, speed, and the board's moment.

::

    {"emu85 session": 2, "board": "saltmarsh", "board file": "9f86...", "speed": "real",
     "stops": {...}, "symbols": {"TICK": "0120", "RATE": "0004"}, "equated": ["RATE"],
     "runs": [[0, 1024]], "moment": {...}, "checksum": "60303a..."}

``equated`` are the symbols that stand for a value and not for a place, ``runs`` where
the firmware has bytes; both may be left out.  ``board file`` is a digest of what the
board file says, ``moment`` that of :mod:`emu85.history.kept`, ``checksum`` the SHA-256 of
all the rest.  The number is the version of this layout; version 1 had no moment and no
checksum, and is still taken.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from emu85.board.describe import describe
from emu85.console import numbers
from emu85.console.kinds import Context, Speed
from emu85.console.searching import searching
from emu85.console.throttle import speed_text
from emu85.errors import Place, UserError
from emu85.firmware import atomic_write
from emu85.firmware.symbols import is_symbol_name
from emu85.history.kept import bring_back, moment_data
from emu85.stops import StopSet
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session

_KEY = "emu85 session"
_VERSION, _WITHOUT_MOMENT = 2, 1
_EXPECTED = "a session file written by 'save'"


def save(session: Session, path: Path) -> None:
    """Write the session's file, as a whole or not at all.

    Raises:
        UserError: it cannot be written.
    """
    machine = session.machine
    data = {
        _KEY: _VERSION,
        "board": machine.board.name,
        "board file": _board_digest(session),
        "speed": speed_text(session.throttle.factor),
        "stops": _users_stops(machine.stops),
        "symbols": {name: f"{at:04X}" for name, at in machine.symbols.items()},
        "equated": sorted(machine.equated),
        "runs": [list(run) for run in machine.runs],
        "moment": moment_data(session.history),
    }
    data["checksum"] = _checksum(data)
    atomic_write(path, json.dumps(data, indent=1) + "\n")


def _checksum(data: Mapping[str, Any]) -> str:
    rest = {name: value for name, value in data.items() if name != "checksum"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True).encode()).hexdigest()


def _board_digest(session: Session) -> str:
    """Of all that is on the board, and not of where its file is or how it is written."""
    board = session.machine.board
    lines = describe(board).splitlines()
    text = "\n".join(line for line in lines if board.description.file not in line)
    return hashlib.sha256(text.encode()).hexdigest()


def _users_stops(stops: StopSet) -> dict[str, Any]:
    """Those that firmware armed belong to the machine's state, which is not saved."""
    data = stops.to_data()
    data["stops"] = [stop for stop in data["stops"] if stop["owner"] == "user"]
    return data


def restore(session: Session, path: Path, text: str) -> str:
    """Take stops, symbols and speed from the text of a session file.

    Nothing changes if any part of it cannot be taken.

    Returns:
        One line on what was taken.

    Raises:
        UserError: it is no such file, or of another board; or Ctrl-C broke it off.
    """
    data = _read(text, path)
    _refuse_other_board(session, data, path)
    try:
        stops = StopSet.from_data(data["stops"])
        symbols = _symbols(data["symbols"])
        equated = _equated(data.get("equated", []), symbols)
        runs = _runs(data.get("runs", []))
        speed = Speed().read(str(data["speed"]), Context())
    except KeyError as error:
        raise UserError(
            f"the session has no {error}", Place(str(path)), expected=_EXPECTED
        ) from None
    except UserError as error:
        raise error.at(Place(str(path))) from None
    try:
        with searching(session):
            moment = _bring_back(session, data, stops)
    except UserError as error:
        raise error.at(Place(str(path))) from None
    machine = session.machine
    machine.symbols.clear()
    machine.symbols.update(symbols)
    machine.equated = equated
    machine.runs = runs
    session.throttle.factor = speed
    taken = f"{path.name}: {counted(len(stops), 'stop')}, {counted(len(symbols), 'symbol')}"
    return taken + moment


def _refuse_other_board(session: Session, data: Mapping[str, Any], path: Path) -> None:
    """Symbols and stops of another board would name what is not there."""
    there, here = data.get("board"), session.machine.board.name
    if there != here:
        raise UserError(
            f"a session of the board {there!r}, and this is {here!r}",
            Place(str(path)),
            expected=f"one saved on {here}",
        )


def _bring_back(session: Session, data: Mapping[str, Any], stops: StopSet) -> str:
    """Take the stops, and come to the moment if it is one of this board; words on it."""
    is_same_board = data.get("board file") == _board_digest(session)
    if "moment" not in data or not is_same_board:
        session.machine.stops.take_over(stops)
    if "moment" not in data:
        return ""
    if not is_same_board:
        return ". The board has been changed since, so it stays at its own moment"
    bring_back(session.history, data["moment"], stops)
    return f", T-state {session.machine.t} with all that led to it"


def _read(text: str, path: Path) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        place = Place(str(path), error.lineno, error.colno)
        raise UserError("no JSON from here on", place, expected=_EXPECTED) from None
    except (RecursionError, ValueError):
        message = "nested too deep, or a number of too many digits"
        raise UserError(message, Place(str(path)), expected=_EXPECTED) from None
    if not isinstance(data, dict) or _KEY not in data:
        raise UserError("no saved session", Place(str(path)), expected=_EXPECTED)
    if data[_KEY] not in (_VERSION, _WITHOUT_MOMENT):
        raise UserError(
            f"a session of version {data[_KEY]!r}",
            Place(str(path)),
            expected=f"version {_WITHOUT_MOMENT} or {_VERSION}",
        )
    if data[_KEY] == _VERSION and data.get("checksum") != _checksum(data):
        raise UserError(
            "the session is damaged: its checksum is not that of its content",
            Place(str(path)),
            expected=_EXPECTED,
        )
    return data


def _runs(data: Any) -> tuple[tuple[int, int], ...]:
    if not isinstance(data, list):
        raise UserError("the saved runs are no list", expected=_EXPECTED)
    for run in data:
        if not (isinstance(run, list) and len(run) == 2 and all(map(_is_place, run))):
            raise UserError(f"{run!r} is no run of bytes", expected=_EXPECTED)
    return tuple((first, last) for first, last in data)


def _is_place(number: Any) -> bool:
    """Whether it is an address, or the end of the last."""
    return type(number) is int and 0 <= number <= 0x10000


def _symbols(data: Any) -> dict[str, int]:
    if not isinstance(data, dict):
        raise UserError("the saved symbols are no table", expected=_EXPECTED)
    for name in data:
        if not is_symbol_name(name):
            raise UserError(f"{name!r} is not a symbol name", expected="letters and digits")
    return {name: numbers.number(str(at), 16, 0, 0xFFFF, "an address") for name, at in data.items()}


def _equated(data: Any, symbols: Mapping[str, int]) -> set[str]:
    if not isinstance(data, list) or not all(isinstance(name, str) for name in data):
        raise UserError("the saved equated names are no list of names", expected=_EXPECTED)
    return set(data) & set(symbols)
