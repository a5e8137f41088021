"""What a check is."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from emu85.burn.study import Study
from emu85.burn.verdict import Note


class NotMadeError(Exception):
    """Raised by a check that cannot be made; its text says why."""


@dataclass(frozen=True, slots=True)
class Check:
    """A question to a study.

    Attributes:
        name: one word or several with hyphens, as ``--accept`` takes it.
        about: what must hold, in a few words.
        find: gives a note for each place where it does not.
    """

    name: str
    about: str
    find: Callable[[Study], Iterable[Note]]
