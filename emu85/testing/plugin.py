"""The pytest plugin: fixtures with boards, rehearsals as tests, machine cycles in reports.

Fixtures, both functions that give a :class:`~emu85.testing.board.BoardUnderTest`:

* ``board_under_test(board, firmware=None)``: a board by name, file or YAML text;
* ``assembled(text)``: a few lines of assembly on a plain board.

With ``--rehearsals``, or ``emu85_rehearsals = true`` in the ini file, every
``*.rehearsal`` file is a test; one that is named on the command line is in any case.

Nothing of the emulator is imported before a test asks for it, and nothing is kept but
with the test it belongs to, so that tests may run in any order and in many processes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.firmware import Image
    from emu85.machine import Machine
    from emu85.testing.board import BoardUnderTest

MACHINES = pytest.StashKey[list["Machine"]]()
"""Where a test keeps the machines it has used."""
_OPTION, _INI, _CYCLES_INI = "--rehearsals", "emu85_rehearsals", "emu85_cycles"
_SUFFIX = ".rehearsal"
_MOST_CYCLES = 1000
_TRACE = 100_000


def pytest_addoption(parser: pytest.Parser) -> None:
    """Declare what can be set."""
    about = f"perform *{_SUFFIX} files as tests"
    parser.getgroup("emu85").addoption(
        _OPTION, action="store_true", dest=_INI, default=False, help=about
    )
    parser.addini(_INI, about, type="bool", default=False)
    parser.addini(
        _CYCLES_INI,
        "machine cycles of a board that the report of a failed test shows",
        default="16",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Refuse settings that are none."""
    _cycles(config)


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Make a test of a rehearsal."""
    if file_path.suffix != _SUFFIX:
        return None
    config, session = parent.config, parent.session
    is_wanted = config.getoption(_INI) or config.getini(_INI) or session.isinitpath(file_path)
    if not is_wanted:
        return None
    from emu85.testing.rehearsals import RehearsalFile

    return RehearsalFile.from_parent(parent, path=file_path)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Show the last machine cycles of a failed test's boards."""
    report = yield
    machines = item.stash.get(MACHINES, [])
    if report.failed and machines:
        from emu85.testing.cycles import section

        count = _cycles(item.config)
        report.sections += [section(machine, count) for machine in machines]
    if call.when == "teardown" and machines:
        del item.stash[MACHINES]
    return report


@pytest.fixture
def board_under_test(request: pytest.FixtureRequest) -> Callable[..., BoardUnderTest]:
    """Make a board: board_under_test("slate", firmware="lesson.asm").

    Arguments: a demo board's name, a board file, or the text of one; ``firmware``, an
    image or a HEX, binary or assembly file, and ``at``, the address of a binary;
    ``trace``, the machine cycles it remembers.  Files are looked for beside the test.
    """

    def make(
        board: str | Path | BoardDescription,
        firmware: str | Path | Image | None = None,
        *,
        at: int | None = None,
        trace: int = _TRACE,
    ) -> BoardUnderTest:
        __tracebackhide__ = True
        from emu85.testing.board import put_up

        made = put_up(board, firmware, at=at, trace=trace, folder=request.path.parent)
        _keep(request.node, made.machine)
        return made

    return make


@pytest.fixture
def assembled(board_under_test: Callable[..., BoardUnderTest]) -> Callable[..., BoardUnderTest]:
    """Put assembly on a plain board: assembled("TWICE: ADD A\\n RET").

    Arguments: the text; ``at``, where it goes if it has no ORG, 0 unless given;
    ``board``, as for ``board_under_test``, in place of 32K of ROM at 0000 and 16K of
    RAM at 8000, in which code that was written there may run.
    """

    def make(text: str, *, at: int = 0, board: Any = None) -> BoardUnderTest:
        __tracebackhide__ = True
        from emu85.testing.board import PLAIN

        made = board_under_test(PLAIN if board is None else board)
        made.assemble(text, at=at)
        return made

    return make


def _cycles(config: pytest.Config) -> int:
    """How many machine cycles a report shows."""
    written = str(config.getini(_CYCLES_INI))
    if not re.fullmatch("[0-9]{1,4}", written) or int(written) > _MOST_CYCLES:
        raise pytest.UsageError(
            f"{_CYCLES_INI} is {written!r}; expected machine cycles, 0 to {_MOST_CYCLES}"
        )
    return int(written)


def _keep(item: pytest.Item, machine: Machine) -> None:
    item.stash.setdefault(MACHINES, []).append(machine)
