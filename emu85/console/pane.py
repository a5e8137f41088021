"""The console's own end of a serial wire: what is typed goes there, what comes is shown.

A wire has one far end.  The pane is at one serial end of the board at a time, and at
none that is joined to the outside.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from emu85.board import Board
from emu85.board.serial import SerialLine, Terminal
from emu85.errors import UserError
from emu85.links import Links
from emu85.links.joins import end_named

End: TypeAlias = SerialLine | Terminal


class Pane:
    """Which serial end the console talks to.

    Attributes:
        name: of the end; empty where there is none.
    """

    def __init__(self, board: Board, links: Links, hear: Callable[[int], None]) -> None:
        """``hear(byte)`` gets every character from the end."""
        self.name = ""
        self._board = board
        self._links = links
        self._hear = hear
        self.settle()

    @property
    def end(self) -> End:
        """The end it is at.

        Raises:
            UserError: it is at none.
        """
        if self.name:
            return self._board.serial_ends[self.name]
        if self._board.serial_ends:
            raise UserError(
                "every serial end is joined to the outside", expected="'part END' for one of them"
            )
        raise UserError("this board has no serial line", expected="a board with a serial line")

    def turn_to(self, name: str) -> None:
        """Go to another end.

        Raises:
            UserError: no such end, or one that is joined to the outside.
        """
        name = end_named(self._board, name)
        if name in self._links:
            raise UserError(f"{name} is joined to the outside", expected=f"'part {name}' first")
        self._move(name)

    def settle(self) -> None:
        """Leave an end that has been joined, for the first that is free."""
        if self.name and self.name not in self._links:
            return
        free = [name for name in self._board.serial_ends if name not in self._links]
        self._move(free[0] if free else "")

    def _move(self, name: str) -> None:
        ends = self._board.serial_ends
        if self.name:
            ends[self.name].listeners.remove(self._hear)
        self.name = name
        if name:
            ends[name].listeners.append(self._hear)
