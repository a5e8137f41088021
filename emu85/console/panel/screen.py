"""What the panel does with text that would go to the console's screen."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from emu85.console.serial_text import SerialText
from emu85.errors import UserError

_KEPT = 400
"""Lines from the serial end that are kept."""


class PanelScreen:
    """A screen (:class:`emu85.console.screen.Screen`) that collects.

    Attributes:
        message: the last thing there was to tell.
        told: everything told, for the console when the panel has been left.
    """

    width = 80
    is_terminal = True

    def __init__(self) -> None:
        self.message = ""
        self.told: list[str] = []
        self._lines: deque[str] = deque(maxlen=_KEPT)
        self._text = SerialText()

    def show(self, text: str = "") -> None:
        """Take it for a message."""
        self.told.append(text)
        self.message = text.strip()

    def serial(self, data: bytes) -> None:
        """Bytes from the board."""
        self._lines.extend(self._text.feed(data))

    def end_serial(self) -> None:
        """A line that has not ended stays as it is."""

    def problem(self, error: UserError | str) -> None:
        """Take the first line of a mistake for a message."""
        self.message = str(error).splitlines()[0]
        self.told.append(str(error))

    def serial_lines(self, count: int) -> Sequence[str]:
        """The last lines, that which is being written at the end."""
        return [*self._lines, self._text.current][-count:]
