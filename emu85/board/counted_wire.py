"""Asynchronous characters moved by a clock whose edges come one by one.

Where a clock is a square wave, a character is one event (:mod:`emu85.board.async_wire`).
A clock that firmware makes with a port has no period, so here the edges are counted: so
many falls a bit out, and so many rises a bit in.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable

from emu85.board.frames import MARK, SPACE, Framing, levels_of


class CountedSender:
    """Puts out a bit each so many falls of a clock."""

    def __init__(self, put: Callable[[int], None], take: Callable[[], int | None]) -> None:
        """``put`` gets the levels; ``take`` gives the next character, or None."""
        self._put = put
        self._take = take
        self._bits: deque[tuple[int, int]] = deque()
        self._left = 0

    @property
    def busy(self) -> bool:
        """A character is on its way out."""
        return bool(self._left)

    def stop(self) -> None:
        """Forget the character that is being sent."""
        self._bits.clear()
        self._left = 0

    def fall(self, factor: int, framing: Framing) -> None:
        """The clock falls; a character begun now takes ``factor`` clocks a bit."""
        if self._left > 1:
            self._left -= 1
            return
        if not self._bits:
            self._begin(factor, framing)
        level, self._left = self._bits.popleft() if self._bits else (MARK, 0)
        self._put(level)

    def _begin(self, factor: int, framing: Framing) -> None:
        value = self._take()
        if value is None:
            return
        *levels, stop = levels_of(framing, value)
        self._bits.extend((level, factor) for level in levels)
        self._bits.append((stop, math.ceil(framing.stop * factor)))


class CountedReceiver:
    """Looks at a line at rises of a clock: for a start bit, then in the middle of each bit."""

    def __init__(
        self, arrive: Callable[[tuple[int, ...]], None], find_break: Callable[[], None]
    ) -> None:
        """``arrive`` gets the levels of a character, from the start bit to the stop bit.

        ``find_break`` is called when another character time of space follows one.
        """
        self._arrive = arrive
        self._find_break = find_break
        self._factor: int | None = None
        self._framing = Framing()
        self._restart(SPACE)

    def set(self, factor: int | None, framing: Framing, level: int) -> None:
        """Clocks a bit (None: nothing is received), format, and the level of the line now.

        A character that was under way is dropped if anything changes.
        """
        if (factor, framing) != (self._factor, self._framing):
            self._factor, self._framing = factor, framing
            self._restart(level)

    def _restart(self, level: int) -> None:
        self._before = level
        self._levels: list[int] = []
        self._busy = False
        self._left = 0
        self._space: int | None = None

    def rise(self, level: int) -> None:
        """The clock rises while the line is at a level."""
        if self._factor is None:
            return
        if not self._busy and self._before == MARK and level == SPACE:
            self._busy = True
            self._left = self._factor // 2
        self._before = level
        if not self._busy:
            self._count_space(level)
        elif self._left:
            self._left -= 1
        else:
            self._left = self._factor - 1
            self._sample(level)

    def _sample(self, level: int) -> None:
        self._levels.append(level)
        if self._levels[0] == MARK:  # too short for a start bit: noise
            self._restart(level)
        elif len(self._levels) == self._framing.sampled:
            levels = tuple(self._levels)
            self._restart(level)
            self._space = None if any(levels) else 0
            self._arrive(levels)

    def _count_space(self, level: int) -> None:
        """See whether the space of a whole character lasts for another."""
        if self._space is None or self._factor is None:
            return
        self._space = self._space + 1 if level == SPACE else None
        if self._space == math.ceil(self._framing.length * self._factor):
            self._space = None
            self._find_break()
