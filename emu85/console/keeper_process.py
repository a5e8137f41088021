"""Holds the state of a terminal for a program that may crash; a process of its own.

Standard input is a pipe from the program, standard output the terminal.  The first line
is the terminal's modes; each byte after it is a :data:`WORDS`.  When the pipe closes
without the word that all is well, the program has been killed, and the terminal is given
its state back.

It imports nothing of ours and little else, so that it starts in some milliseconds.
"""

import contextlib
import json
import os
import signal
import termios

FULL, LINES, LEFT = b"f", b"l", b"q"
"""The program fills the screen; it uses single lines; it has left and restored all itself."""
_LEAVE_SCREEN = b"\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?1015l\x1b[?1049l"
_PLAIN = b"\x1b[?2004l\x1b[?7h\x1b[0m\x1b[?25h"
"""No bracketed paste, lines that wrap, no attributes, a cursor."""
_SECONDS = 2
"""A terminal that takes nothing any more is given up after so long."""
_LOCAL_MODES = 3
_TERMINAL = 1


def modes_text(modes: list[int | list[bytes | int]]) -> str:
    """What ``tcgetattr`` gave, as a line."""
    *flags, characters = modes
    assert isinstance(characters, list)
    codes = [one[0] if isinstance(one, bytes) else one for one in characters]
    return json.dumps([*flags, codes]) + "\n"


def _read_modes(line: bytes) -> list[int | list[bytes | int]]:
    *flags, codes = json.loads(line)
    return [*flags, [bytes([code]) for code in codes]]


def _main() -> None:
    with os.fdopen(0, "rb", buffering=0) as pipe:
        line = pipe.readline()
        word = LINES
        while read := pipe.read(64):
            word = read[-1:]
    if word != LEFT and line:
        _restore(_read_modes(line), is_full=word == FULL)


def _restore(modes: list[int | list[bytes | int]], is_full: bool) -> None:
    """Give the terminal its state back, unless that has been done already.

    A shell may have set modes of its own by now: those that the program sets have no
    keys for signals, as no shell has.
    """
    # The alarm is not caught: it ends this process.
    signal.alarm(_SECONDS)
    now = termios.tcgetattr(_TERMINAL)[_LOCAL_MODES]
    is_raw = not now & (termios.ICANON | termios.ISIG | termios.ECHO)
    if is_raw:
        termios.tcsetattr(_TERMINAL, termios.TCSANOW, modes)
    if is_full:
        os.write(_TERMINAL, _LEAVE_SCREEN + _PLAIN)
    elif is_raw:
        os.write(_TERMINAL, _PLAIN + b"\r\n")


if __name__ == "__main__":
    with contextlib.suppress(OSError, termios.error, ValueError):
        _main()
