"""The slot of an instruction written as assembly, or of what else a timing card may be about."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from emu85.console.kinds import Completion, Context, Kind
from emu85.console.tokens import Token, without_comment
from emu85.isa import INSTRUCTIONS
from emu85.timing.subjects import EVENTS, Subject, subject_named


@dataclass(frozen=True)
class CardSubject(Kind):
    """The rest of the line as :func:`~emu85.timing.subjects.subject_named` reads it."""

    wants: str = "an instruction such as MOV M,A"
    rest: ClassVar[bool] = True

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Subject, int]:
        text = without_comment(tokens[0].raw)
        return subject_named(text, context.symbols), len(tokens)

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        so_far = re.sub(r"\s+", " ", written.lstrip()).upper()
        if not so_far:
            return ()
        names = [(one.text(), one.summary) for one in INSTRUCTIONS]
        names += [(one.name, one.event.value) for one in EVENTS if one.event]
        return [
            Completion(name, about, len(written))
            for name, about in names
            if name.startswith(so_far)
        ]
