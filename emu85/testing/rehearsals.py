"""Rehearsals as tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from emu85.errors import UserError
from emu85.rehearsal import perform, read_script, set_up
from emu85.rehearsal.report import outcome, report
from emu85.testing.failure import BoardFailure
from emu85.testing.plugin import MACHINES


class RehearsalFile(pytest.File):
    """A file that holds one rehearsal."""

    def collect(self) -> Iterator[RehearsalItem]:
        """The one test, named after the file; it is read when it is run."""
        yield RehearsalItem.from_parent(self, name=self.path.stem)


class RehearsalItem(pytest.Item):
    """A rehearsal to be performed."""

    def runtest(self) -> None:
        """Perform it.

        Raises:
            UserError: it cannot be read, or a mistake in it.
            BoardFailure: something is not as it expects.
        """
        script = read_script(self.path)
        machine = set_up(script)
        self.stash[MACHINES] = [machine]
        verdict = perform(script, machine)
        if not verdict.passed:
            raise BoardFailure(f"{verdict.title}: {outcome(verdict)}\n{report(verdict)}")

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The report of what differs, or where the mistake is, without a traceback."""
        if isinstance(excinfo.value, BoardFailure | UserError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """What heads its report."""
        return self.path, None, f"rehearsal {self.name}"
