"""What is done to a board from outside, told to who keeps a record of it.

Characters sent to it, keys pressed, bytes put into its memory: with the firmware,
they are all that decides what a board does.  Each is plain data, so that it can be
written to a file and done again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

Plain = str | int | bytes | list[tuple[int, int]] | list[tuple[int, bytes]]
"""What a deed is about."""


class Deed(NamedTuple):
    """One thing done.

    Attributes:
        kind: ``send``, ``break``, ``adjust``, ``poke``, ``port``, ``program``, ``cells``,
            ``stop`` (the firmware's, by hand), ``reset``, ``pace ended`` or ``power``.
        about: what it was done with.
    """

    kind: str
    about: tuple[Plain, ...] = ()


class Deeds:
    """Where deeds are told.

    Attributes:
        listener: is called with each once it is done; None while nobody keeps a record.
    """

    def __init__(self) -> None:
        self.listener: Callable[[Deed], None] | None = None

    def tell(self, kind: str, *about: Plain) -> None:
        """Something has been done."""
        if self.listener:
            self.listener(Deed(kind, about))

    def tell_of_end(self, end: str, kind: str, what: bytes | int) -> None:
        """Something has been sent at a serial end."""
        self.tell(kind, end, what)
