"""Which of the characters from a serial end were there for good when the board was held."""

from __future__ import annotations

from itertools import takewhile

from emu85.board.serial import SerialLine, Terminal

_QUIET = 16
"""Character times of silence after which a line has said what it had to say."""


def settled(end: SerialLine | Terminal, before: int, t: int) -> int:
    """How many of the characters received another build will have sent by then, too.

    All of them, if the line has been quiet for a while; else what came before the last
    line feed that is as old.

    Args:
        end: the serial end.
        before: how many have been told of; the result is no less.
        t: the T-state of the hold.
    """
    oldest = t - _QUIET * end.character_time
    late = takewhile(lambda one: one.t > oldest, reversed(end.arrivals))
    count = sum(not one.fault for one in late)
    if not count:
        return len(end.received)
    early = end.received[before : max(before, len(end.received) - count)]
    return before + early.rfind(b"\n") + 1
