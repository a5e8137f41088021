"""The board's serial line, keys and switches"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.errors import Place, UserError

if TYPE_CHECKING:
    from emu85.console.session import Session

_ESCAPES = {"r": "\r", "n": "\n", "t": "\t", "\\": "\\"}
_ESCAPE = re.compile(r"\\(?:x([0-9A-Fa-f]{2})|(.?))", re.S)


@form("talk [END]", "run, and send what is typed to the serial line")
def talk(session: Session, end: str = "") -> None:
    """Ctrl-C holds the board and comes back here. Return sends a carriage return.
    With the name of a serial end the console turns to it and stays there."""
    if end:
        session.pane.turn_to(end)
    _ = session.pane.end  # a board without one is told of first
    if not session.driver.has_keyboard:
        raise UserError(
            "talk needs a terminal to type at",
            expected="'enter TEXT' and then 'run for TIME' in a script",
        )
    session.show_held(session.move(session.free_run(hears=True), keyboard=True))


@form("type to END TEXT", "send text to one of several serial lines")
def type_to(session: Session, end: str, text: str) -> None:
    """As 'type TEXT' does, whatever end the console is at."""
    with unfit("text"):
        data = unescaped(text)
    session.machine.board.serial_ends[end].send(data)


@form("type TEXT", "send text to the serial line, without Enter")
def type_text(session: Session, text: str) -> None:
    r"""'enter TEXT' sends a whole line; this adds nothing to the text.
    \r is a carriage return, \n a line feed, \t a tab, \\ a backslash, \x1B the byte 1B.
    The bytes go out one after another at the line's rate once the machine moves.
    Quotes around the text are dropped; they keep blanks at its ends, and #."""
    end = session.pane.end
    with unfit("text"):
        data = unescaped(text)
    end.send(data)


@form("enter to END [TEXT]", "send a line to one of several serial lines")
def enter_to(session: Session, end: str, text: str = "") -> None:
    """As 'enter TEXT' does, whatever end the console is at."""
    type_to(session, end, text)
    type_to(session, end, r"\r")


@form("enter [TEXT]", "send text and then Enter to the serial line")
def enter_text(session: Session, text: str = "") -> None:
    """Enter is a carriage return, as a terminal sends it. Alone it is only that.
    For the rest it is as 'type TEXT', which sends no Enter."""
    type_text(session, text)
    type_text(session, r"\r")


def unescaped(text: str) -> bytes:
    r"""The bytes that ``text`` stands for.

    Raises:
        UserError: an unknown escape, or a character that is no byte; its column is
            that of ``text``.
    """
    is_quoted = len(text) > 1 and text[0] == text[-1] and text[0] in "\"'"
    begin, end = (1, len(text) - 1) if is_quoted else (0, len(text))
    try:
        text[begin:end].encode("latin-1")
    except UnicodeEncodeError as error:
        raise UserError(
            f"{error.object[error.start]!r} cannot be sent",
            Place(column=begin + error.start + 1),
            expected="characters of one byte each, or \\x escapes",
        ) from None
    parts, done = [], begin
    for found in _ESCAPE.finditer(text, begin, end):
        parts += [text[done : found.start()], _escape(found)]
        done = found.end()
    return "".join([*parts, text[done:end]]).encode("latin-1")


def _escape(found: re.Match[str]) -> str:
    if found[1]:
        return chr(int(found[1], 16))
    if found[2] not in _ESCAPES:
        raise UserError(
            f"there is no escape \\{found[2]}",
            Place(column=found.start() + 1),
            expected="\\r, \\n, \\t, \\\\ or \\x and two digits",
        )
    return _ESCAPES[found[2]]


@form("press BUTTON [KEY]", "press a button, or a keypad's key, for a moment")
def press(session: Session, button: str, key: str = "") -> None:
    """press call     press pad 8
    It happens now in board time; let the machine move to see what comes of it.
    'set NAME down' and 'set NAME up' keep it down and let it go."""
    _adjust(session, button, "press", key)


@form("set DEVICE TEXT", "set switches or another control of the board")
def set_device(session: Session, device: str, text: str) -> None:
    """A control's name and its value if it takes one, or the value alone for the
    device's first control: 'set key down', 'set station 2A', 'set station flip 3'."""
    controls = session.machine.board.devices[device].controls
    first, _, rest = text.partition(" ")
    named = [control for control in controls if control.name == first.casefold()]
    valued = [control for control in controls if control.kind is not None]
    if named or not valued:
        value = rest.strip()
        with unfit("text", text.rindex(value) if value and named else 0):
            _adjust(session, device, first, value)
    else:
        with unfit("text"):
            _adjust(session, device, valued[0].name, text)


def _adjust(session: Session, device: str, control: str, value: str) -> None:
    board = session.machine.board
    board.adjust(device, control, value)
    session.screen.show(f"{device}: {board.devices[device].state()}")
