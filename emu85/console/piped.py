"""Console lines from a standard input that is no terminal.

Whoever writes them may take his time, and ends that are joined to the outside are
attended to meanwhile.
"""

from __future__ import annotations

import codecs
import io
import os
import select
from collections.abc import Callable, Iterator
from typing import TextIO

_AT_ONCE = 0x10000


def piped_lines(stream: TextIO, attend: Callable[[], float | None]) -> Iterator[str]:
    """The lines of a stream as they come, without their ends.

    Args:
        stream: read from its descriptor, UTF-8; bytes that are none are replaced.
        attend: called while a line is waited for; it returns after how many seconds
            it is to be called again at the latest, or None for not at all.
    """
    # Built as standard input itself reads, so that line ends of any kind are taken.
    decoder = io.IncrementalNewlineDecoder(
        codecs.getincrementaldecoder("utf-8-sig")("replace"), translate=True
    )
    rest = ""
    for data in _chunks(stream.fileno(), attend):
        *lines, rest = (rest + decoder.decode(data)).split("\n")
        yield from lines
    rest += decoder.decode(b"", final=True)
    if rest:
        yield from rest.removesuffix("\n").split("\n")


def _chunks(number: int, attend: Callable[[], float | None]) -> Iterator[bytes]:
    _wait(number, attend)
    while data := os.read(number, _AT_ONCE):
        yield data
        _wait(number, attend)


def _wait(number: int, attend: Callable[[], float | None]) -> None:
    """Attend until something can be read; not at all where that cannot be found out."""
    pause: float | None = 0
    try:
        while not select.select([number], [], [], pause)[0]:
            pause = attend()
    except (OSError, ValueError):  # a pipe on a system that selects sockets alone
        return
