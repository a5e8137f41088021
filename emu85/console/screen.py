"""Where console words put their text: one small object for terminals, pipes and scripts."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from typing import Protocol, TextIO

from emu85.console.serial_text import SerialStream
from emu85.errors import OutputLost, UserError

_USUAL = 80
"""Columns of what is no terminal."""
_NARROWEST = 40
"""Columns that the bus view needs."""


class Screen(Protocol):
    """What words and views may do with the output."""

    @property
    def width(self) -> int:
        """Columns there are."""

    @property
    def is_terminal(self) -> bool:
        """Whether somebody sees it on a terminal, which has signs of its own to draw with."""

    def show(self, text: str = "") -> None:
        """Put one or more whole lines."""

    def serial(self, data: bytes) -> None:
        """Put bytes that came from the board's serial line."""

    def end_serial(self) -> None:
        """Put what waits of a line that has not ended: nothing more may come."""

    def problem(self, error: UserError | str) -> None:
        """Tell the user of a mistake."""


def _wrapped(line: str, width: int) -> list[str]:
    return textwrap.wrap(line, width, break_long_words=False, break_on_hyphens=False)


class PlainScreen:
    """Text to a stream, with no control sequences.

    Args:
        out: the stream.
        errors: where mistakes go; ``out`` when not given.
        width: columns; found out from the terminal when not given.
    """

    def __init__(
        self, out: TextIO | None = None, errors: TextIO | None = None, width: int | None = None
    ) -> None:
        self._out = out or sys.stdout
        self._errors = errors or self._out
        self._width = width
        self._stream = SerialStream()
        self._is_mid_line = False

    @property
    def width(self) -> int:
        if self._width is not None:
            return self._width
        if not self._out.isatty():
            return _USUAL
        return max(_NARROWEST, shutil.get_terminal_size().columns)

    @property
    def is_terminal(self) -> bool:
        return self._out.isatty()

    def show(self, text: str = "") -> None:
        self._fresh_line()
        self._write(f"{text}\n")

    def serial(self, data: bytes) -> None:
        text = self._stream.feed(data)
        if not text:
            return
        self._write(text)
        self._is_mid_line = not text.endswith("\n")

    def end_serial(self) -> None:
        self._fresh_line()

    def problem(self, error: UserError | str) -> None:
        self._fresh_line()
        self._out.flush()
        text = self._fitted(error) if self._errors.isatty() else str(error)
        print(text, file=self._errors, flush=True)

    def _fitted(self, error: UserError | str) -> str:
        """Lines that a terminal need not break; those that show a place stay as they are."""
        lines: list[str] = []
        for line in str(error).splitlines():
            is_shown = line.startswith(" ") or len(line) <= self.width
            lines += [line] if is_shown else _wrapped(line, self.width)
        return "\n".join(lines)

    def _fresh_line(self) -> None:
        unfinished = self._stream.take()
        if unfinished:
            self._write(unfinished)
            self._is_mid_line = True
        if self._is_mid_line:
            self._write("\n")
            self._is_mid_line = False

    def _write(self, text: str) -> None:
        try:
            self._out.write(text)
            self._out.flush()
        except OSError as error:
            raise OutputLost(error.errno, error.strerror) from error


class ColourScreen(PlainScreen):
    """A terminal: mistakes and nothing else are set off by colour, unless NO_COLOR is set."""

    def problem(self, error: UserError | str) -> None:
        if os.environ.get("NO_COLOR"):
            super().problem(error)
            return
        from prompt_toolkit import print_formatted_text
        from prompt_toolkit.formatted_text import FormattedText

        self._fresh_line()
        print_formatted_text(FormattedText([("ansired", self._fitted(error))]))
