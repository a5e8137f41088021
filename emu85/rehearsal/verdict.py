"""What came of a rehearsal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from emu85.errors import Place


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as it was expected.

    Attributes:
        expected, seen: texts of one or more lines, to stand side by side.
        note: why or when, one sentence; may be empty.
    """

    expected: str
    seen: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a rehearsal, performed.

    Attributes:
        place: its file and line.
        text: the line as it is written.
        t: T-states since power-on when it had been performed.
        differences: none if all was as expected.
    """

    place: Place
    text: str
    t: int
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """A rehearsal that has been performed, to its end or to where it failed.

    Attributes:
        path: the rehearsal's file.
        title: from its heading.
        steps: the lines performed, in order.
        lines: how many there are to perform.
        seconds: board time of all of it, power-ons in the course of it included.
        expected_findings: texts of findings that were expected and were there.
    """

    path: Path
    title: str
    steps: tuple[Step, ...]
    lines: int
    seconds: float
    expected_findings: frozenset[str] = frozenset()

    @property
    def failed(self) -> tuple[Step, ...]:
        """The lines that were not as expected."""
        return tuple(step for step in self.steps if step.differences)

    @property
    def differences(self) -> tuple[Difference, ...]:
        """All that was not as expected."""
        return tuple(one for step in self.steps for one in step.differences)

    @property
    def passed(self) -> bool:
        """Whether all was as expected."""
        return not self.failed
