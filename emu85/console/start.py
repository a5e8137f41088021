"""``emu85 run``: from options to a machine and a console that fits where we run."""

from __future__ import annotations

import contextlib
import gc
import os
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.console.panel.needs import check_terminal
from emu85.errors import Place, UserError

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.machine import Machine

_FAILED = 2
_JOIN = "join "


@dataclass(frozen=True, slots=True)
class Start:
    """What was asked for on the command line.

    Attributes:
        board: name or path.
        firmware: file, or None for the board's own.
        at: address of a raw binary.
        script: console lines to execute.
        stay: whether to go on to the prompt after the script.
        held: whether to begin at the prompt instead of running.
        trace: machine cycles the trace holds.
        speed: as written, or None for the default.
        joins: console lines' worth of ends to join, as ``usart pty``.
        panel: whether to begin with the lamp panel.
    """

    board: str
    firmware: Path | None
    at: int | None
    script: Path | None
    stay: bool
    held: bool
    trace: int
    speed: str | None
    joins: tuple[str, ...] = ()
    panel: bool = False


@contextlib.contextmanager
def all_kept() -> Iterator[None]:
    """Look for no garbage meanwhile.

    Nearly all that a start makes is there to stay, and to look through it time and
    again takes a tenth of the start.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def run(start: Start) -> int:
    """Run as asked; the exit status is 0, or 2 after a mistake in a script or pipe.

    Raises:
        UserError: the board, the firmware, an option or a script's line.
    """
    if sys.stdin is None:  # closed by whoever started us
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - for the whole run
    is_terminal = sys.stdin.isatty() and sys.stdout.isatty()
    if start.panel:
        check_terminal()
    speed = _speed(start.speed, default=1.0 if is_terminal and not start.script else None)
    with all_kept():
        machine = _machine(start)
    if is_terminal and (start.script is None or start.stay or start.panel):
        return _at_terminal(start, machine, speed)
    return _plain(start, machine, speed)


def _speed(text: str | None, default: float | None) -> float | None:
    from emu85.console.kinds import Context, Speed

    return default if text is None else Speed().read(text, Context())


def _machine(start: Start) -> Machine:
    announce_compilation()
    from emu85.machine import Machine

    machine = Machine.from_board(start.board, trace=start.trace)
    for clash in machine.board.clashes():
        print(f"note: {clash}", file=sys.stderr)
    firmware = start.firmware or machine.board.firmware
    if firmware is None:
        print("note: no firmware is named, so the board's memory is as it is", file=sys.stderr)
        return machine
    machine.load(firmware, at=start.at)
    return machine


def announce_compilation() -> None:
    """Say what takes the time at the very first start."""
    from emu85.cpu.compiler import is_compiled, kept_in

    if is_compiled():
        return
    if kept_in():
        text = "First start: compiling the processor core for this computer; it is done once"
    else:
        text = (
            "Compiling the processor core for this computer; its cache cannot be written, "
            "so it is done at each start"
        )
    print(f"{text} and takes some seconds.", file=sys.stderr, flush=True)


def _plain(start: Start, machine: Machine, speed: float | None) -> int:
    from emu85.console.endings import closed_at_end
    from emu85.console.piped import piped_lines
    from emu85.console.screen import PlainScreen
    from emu85.console.script import do_lines, follow_pipe, read_script
    from emu85.console.session import Session

    session = Session(machine, PlainScreen(errors=sys.stderr), speed=speed)
    _note_firmware(session, start)
    with closed_at_end(session.close):
        _join(session, start.joins)
        if start.script is not None:
            do_lines(session, read_script(start.script), str(start.script))
            if not start.stay or session.is_over:
                return 0
        lines = piped_lines(sys.stdin, session.attend)
        first = next(lines, None)
        if first is None:
            return _without_lines(session, start)
        return 0 if follow_pipe(session, chain([first], lines)) else _FAILED


def _without_lines(session: Session, start: Start) -> int:
    """Standard input is empty, as that of a program in the background usually is."""
    if not len(session.links):
        print(
            "note: standard input has no console lines, so the board has not been moved; "
            "'run for 1 s' there, or a file of lines with --do, moves it",
            file=sys.stderr,
        )
        return 0
    print(
        "note: standard input has no console lines, so the board runs for what is joined; "
        "Ctrl-C or SIGTERM ends it",
        file=sys.stderr,
    )
    if start.speed is None:
        session.throttle.factor = 1.0
    return 0 if session.attempt("run") else _FAILED


def _note_firmware(session: Session, start: Start) -> None:
    from emu85.console.session import Burnt

    session.burnt = None if start.firmware is None else Burnt(start.firmware, start.at)


def _join(session: Session, joins: tuple[str, ...]) -> None:
    """Do what the options say; their mistakes stand at the option."""
    for text in joins:
        try:
            session.execute(f"{_JOIN}{text}")
        except UserError as error:
            column = max(0, error.place.column - len(_JOIN))
            raise error.at(Place("--join", column=column), source=text) from None


def _at_terminal(start: Start, machine: Machine, speed: float | None) -> int:
    from emu85.console.drivers import interrupts_ignored
    from emu85.console.endings import closed_at_end
    from emu85.console.kept_terminal import terminal_kept
    from emu85.console.script import do_lines, read_script
    from emu85.console.terminal import open_terminal

    console = open_terminal(machine, speed)
    session = console.session
    _note_firmware(session, start)
    with terminal_kept(), closed_at_end(session.close):
        greet(session)
        _join(session, start.joins)
        with interrupts_ignored():
            if start.script is not None:
                do_lines(session, read_script(start.script), str(start.script))
            if start.panel:
                session.attempt("panel")
            elif start.script is None and not start.held:
                session.attempt("talk" if session.pane.name else "run")
        console.loop()
    return 0


def greet(session: Session) -> None:
    """Two lines: what this is, and how to get on."""
    machine = session.machine
    about = machine.board.description.about
    text = f"{machine.board.name}{': ' + about if about else ''}, {machine.clock_hz / 1e6:g} MHz."
    for line in textwrap.wrap(text, session.screen.width, subsequent_indent="  "):
        session.screen.show(line)
    session.screen.show("Ctrl-C holds the board; 'help' lists the console words, 'quit' ends.")
