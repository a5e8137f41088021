"""Bytes from a serial line as text on a screen.

Only what a plain typing device does is done: carriage return, line feed,
backspace; NUL, BEL and DEL print nothing.  Other control bytes and bytes beyond
ASCII are shown as ``<1B>``, so nothing that firmware sends can disturb the
terminal.
"""

from __future__ import annotations

_CR, _LF, _BS, _BEL, _TAB, _DEL = 0x0D, 0x0A, 0x08, 0x07, 0x09, 0x7F
_UNSEEN = (0, _BEL, _DEL)
_LONGEST = 500
"""Characters after which a line is ended for the reader's sake."""


class SerialText:
    """The line being received, and the lines that are complete.

    Attributes:
        current: the line not yet ended.
        column: where the next character goes, from 0.
    """

    def __init__(self) -> None:
        self.current = ""
        self.column = 0

    def feed(self, data: bytes) -> list[str]:
        """Take bytes; the lines that they completed are returned."""
        done: list[str] = []
        for byte in data:
            self._take(byte, done)
        return done

    def _take(self, byte: int, done: list[str]) -> None:
        if byte == _LF:
            self._end(done)
        elif byte == _CR:
            self.column = 0
        elif byte == _BS:
            self.column = max(0, self.column - 1)
        elif byte not in _UNSEEN:
            self._put(printable(byte))
            if len(self.current) >= _LONGEST:
                self._end(done)

    def _put(self, text: str) -> None:
        before, after = self.current[: self.column], self.current[self.column + len(text) :]
        self.current = before + text + after
        self.column += len(text)

    def _end(self, done: list[str]) -> None:
        done.append(self.current)
        self.current = ""
        self.column = 0


class SerialStream:
    """The same bytes for an output that cannot go back: a pipe, a file.

    A line is given out when it has ended, so that what backspaces have taken back
    never shows; CR LF, LF CR, CR and LF each end one line.
    """

    def __init__(self) -> None:
        self._last = 0
        self._line = SerialText()

    def feed(self, data: bytes) -> str:
        """The text that ``data`` completes."""
        text = ""
        for byte in data:
            if byte in (_CR, _LF):
                is_pair = self._last in (_CR, _LF) and self._last != byte
                text += "" if is_pair else f"{self.take()}\n"
                self._last = 0 if is_pair else byte
                continue
            self._last = byte
            text += "".join(self._line.feed(bytes([byte])))
        return text

    def take(self) -> str:
        """The line that has not ended; what comes next begins a new one."""
        line, self._line = self._line, SerialText()
        return line.current


def printable(byte: int) -> str:
    """One byte as text."""
    if byte == _TAB:
        return "    "
    return chr(byte) if 0x20 <= byte < 0x7F else f"<{byte:02X}>"
