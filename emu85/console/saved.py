"""A session kept in a file: stops, symbols and speed, as JSON.

::

    {"emu85 session": 1, "board": "saltmarsh", "speed": "real",
     "stops": {...}, "symbols": {"TICK": "0120", "RATE": "0004"}, "equated": ["RATE"]}

``equated`` are the symbols that stand for a value and not for a place; it may be
left out.  The number is the version of this layout.  Machine state is no part of it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from emu85.console import numbers
from emu85.console.kinds import Context, Speed
from emu85.console.throttle import speed_text
from emu85.errors import Place, UserError
from emu85.firmware import atomic_write
from emu85.firmware.symbols import is_symbol_name
from emu85.stops import StopSet
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session

_KEY = "emu85 session"
_VERSION = 1
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
        "speed": speed_text(session.throttle.factor),
        "stops": _users_stops(machine.stops),
        "symbols": {name: f"{at:04X}" for name, at in machine.symbols.items()},
        "equated": sorted(machine.equated),
    }
    atomic_write(path, json.dumps(data, indent=1) + "\n")


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
        UserError: it is no such file.
    """
    data = _read(text, path)
    try:
        stops = StopSet.from_data(data["stops"])
        symbols = _symbols(data["symbols"])
        equated = _equated(data.get("equated", []), symbols)
        speed = Speed().read(str(data["speed"]), Context())
    except KeyError as error:
        raise UserError(
            f"the session has no {error}", Place(str(path)), expected=_EXPECTED
        ) from None
    except UserError as error:
        raise error.at(Place(str(path))) from None
    session.machine.replace_stops(stops)
    session.machine.symbols.clear()
    session.machine.symbols.update(symbols)
    session.machine.equated = equated
    session.throttle.factor = speed
    taken = f"{path.name}: {counted(len(stops), 'stop')}, {counted(len(symbols), 'symbol')}"
    there, here = data.get("board"), session.machine.board.name
    if there == here:
        return taken
    return f"{taken}. It was saved on {there}; this board is {here}: do its addresses hold here?"


def _read(text: str, path: Path) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        place = Place(str(path), error.lineno, error.colno)
        raise UserError(f"not JSON: {error.msg}", place, expected=_EXPECTED) from None
    except (RecursionError, ValueError) as error:
        raise UserError(f"not JSON: {error}", Place(str(path)), expected=_EXPECTED) from None
    if not isinstance(data, dict) or _KEY not in data:
        raise UserError("no saved session", Place(str(path)), expected=_EXPECTED)
    if data[_KEY] != _VERSION:
        raise UserError(
            f"a session of version {data[_KEY]!r}",
            Place(str(path)),
            expected=f"version {_VERSION}",
        )
    return data


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
