"""One sitting at a board: the machine, the screen, and what the console words share."""

from __future__ import annotations

import textwrap
import traceback
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from emu85.bus.cycles import Cycle
from emu85.console import state_dir
from emu85.console.drivers import Driver, PlainDriver
from emu85.console.grammar import Unfit, parse
from emu85.console.kinds import Context
from emu85.console.lines_done import LinesDone
from emu85.console.motion import FOREVER, FreeRun, Motion, Steps
from emu85.console.pane import Pane
from emu85.console.screen import Screen
from emu85.console.served import Served
from emu85.console.throttle import Throttle
from emu85.console.views import bus
from emu85.console.views.code import begun, instruction_at, instruction_of
from emu85.console.views.held import held_sentence
from emu85.console.views.noticed import News
from emu85.console.views.places import Places
from emu85.console.words import FORMS
from emu85.errors import OutputLost, Place, UserError, pointed
from emu85.history.history import History
from emu85.links import Link, Links
from emu85.machine import Held, Machine, Reason
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.rehearsal.recorder import Recorder

_LAST_BYTES = 1.0
"""Seconds for which the end of a session waits for readers outside."""
_ATTENDED = 0.02
"""Seconds between two looks at the links while the board is held."""
_ROWS_AFTER_A_MOVE = 16
"""Machine cycles shown after a step of many."""


class Burnt(NamedTuple):
    """The firmware that a session began with; ``at`` is the address of a binary."""

    file: Path
    at: int | None


class Session:
    """What a console word is given.

    Attributes:
        machine: the board and its CPU.
        history: its past.
        screen: where text goes.
        throttle: board time against the wall clock.
        driver: lets motions pass.
        forms: the console words' forms.
        is_over: set by ``quit``.
        links: serial ends joined to the outside.
        pane: the serial end that the console itself talks to.
        news: what the board has noticed and has not been told.
        folder: from where console lines name files.
        lines_done: all that has been done.
        burnt: the firmware it began with, if it is not the board's own.
        recorder: turns what is done into a rehearsal, if it is asked to.
    """

    def __init__(
        self,
        machine: Machine,
        screen: Screen,
        *,
        speed: float | None = None,
        driver: Driver | None = None,
    ) -> None:
        self.machine = machine
        self.history = History(machine)
        self.screen = screen
        self.throttle = Throttle(speed, machine.clock_hz)
        self.driver: Driver = driver or PlainDriver()
        self.forms = FORMS
        self.is_over = False
        self.folder = Path()
        self.lines_done = LinesDone(machine)
        self.burnt: Burnt | None = None
        self.recorder: Recorder | None = None
        self.links = Links(machine.board)
        self.news = News(machine)
        self.pane = Pane(machine.board, self.links, self._on_serial)

    @property
    def context(self) -> Context:
        """What the grammar may know of the board as it is now."""
        return Context(
            symbols=self.machine.symbols,
            stops=[stop.number for stop in self.machine.stops],
            devices=self.machine.board.devices,
            words=sorted({form.word for form in self.forms}),
            clock_hz=self.machine.clock_hz,
            ends=list(self.machine.board.serial_ends),
            joined=[name for name, _ in self.links],
            folder=self.folder,
            timed=self.machine.board.description.timed,
        )

    @property
    def places(self) -> Places:
        """Names of addresses."""
        return Places.of(self.machine)

    def execute(self, line: str) -> None:
        """Do what one console line says.

        Raises:
            UserError: the line cannot be taken, or what it asks for cannot be done.
        """
        command = parse(line, self.forms, self.context)
        if command is None:
            return
        with self.lines_done.line(line, command, self.pane.name):
            try:
                command.form.action(self, **command.values)
            except Unfit as error:
                place = Place(column=command.columns[error.slot] + error.offset)
                raise error.at(place) from None

    def attempt(self, line: str) -> bool:
        """Execute a line; tell of a mistake instead of raising it.  Whether it went well.

        Raises:
            OutputLost: the screen cannot be written any more.
        """
        try:
            self.execute(line)
        except UserError as error:
            self.screen.problem(_told(error, line))
            return False
        except OutputLost:
            raise  # nothing that would be told now could be read
        except Exception as error:  # the session outlives our own mistakes
            self.screen.problem(own_mistake(error))
            return False
        return True

    def move(self, motion: Motion, *, keyboard: bool = False) -> Held:
        """Let a motion pass, and serve the links between its slices."""
        is_free, hears = not isinstance(motion, Steps), keyboard or len(self.links) > 0
        held = self._drive(motion, keyboard)
        self.lines_done.moved(held, is_free=is_free, hears=hears)
        self.tell_news()
        return held

    def _drive(self, motion: Motion, keyboard: bool) -> Held:
        if not isinstance(motion, Steps):
            return self.driver.drive(Served(motion, self.serve), keyboard=keyboard)
        self._serve_links()
        held = self.driver.drive(motion, keyboard=keyboard)
        self._serve_links()
        return held

    def serve(self) -> None:
        """Between two slices of a motion."""
        self._serve_links()
        if self.driver.has_keyboard:
            self.tell_news()

    def tell_news(self) -> None:
        """Tell what the board has noticed, once; where nobody watches, after the motion."""
        for line in self.news.lines(self.screen.width):
            self.screen.show(line)

    def type_by_hand(self, data: bytes) -> None:
        """Send what is typed while the board runs to the end that the console is at."""
        if self.pane.name:
            self.lines_done.sent(self.pane.name, data)
            self.pane.end.send(data)

    def attend(self) -> float | None:
        """Serve the links while the board is held.

        Nothing is taken from outside after RESET: firmware has to move first, to set up
        its USART, or the first characters would be lost.

        Returns:
            seconds within which to do it again; None if nothing is joined.
        """
        if not len(self.links):
            return None
        self._serve_links(takes=self.machine.trace[-1]["type"] != Cycle.RESET)
        return _ATTENDED

    def _serve_links(self, *, takes: bool = True) -> None:
        """Move what can be moved; towards a board in its past nothing, or that would end it."""
        self.links.pump(takes=takes and not self.history.in_past)

    def join(self, end: str, text: str) -> Link:
        """Join a serial end to the outside; the pane leaves it.

        Raises:
            UserError: as :meth:`emu85.links.Links.join`.
        """
        link = self.links.join(end, text)
        link.took = partial(self.lines_done.sent, next(n for n, one in self.links if one is link))
        self.pane.settle()
        return link

    def part(self, end: str) -> None:
        """End the link of a serial end; the pane takes it if it has none.

        Raises:
            UserError: it is not joined.
        """
        self.links.part(end)
        self.pane.settle()

    def close(self) -> None:
        """Hand on what readers still take, part every end, and keep the batteries' bytes."""
        try:
            self.links.drain(_LAST_BYTES)
            self.links.close()
            if self.recorder:
                self.recorder.end()
        finally:
            self.machine.board.save_batteries()

    def free_run(
        self, t_states: int = FOREVER, until: int | None = None, *, hears: bool = False
    ) -> FreeRun:
        """A run at the session's speed; steps that the firmware asks to be paced are shown.

        Args:
            hears: somebody may type; so it is where an end is joined to the outside.
        """
        return FreeRun(
            self.machine,
            self.throttle,
            t_states,
            until,
            lambda: self.show_rows(1),
            hears=hears or len(self.links) > 0,
        )

    def step(self, move: Callable[[], Held]) -> None:
        """Make a step and show the machine cycles it took."""
        before = self.machine.trace.total
        held = self.move(Steps(self.machine, move))
        done = self.machine.trace.total - before
        if done > 1:
            self.show_rows(min(done, _ROWS_AFTER_A_MOVE), done)
        if held.reason in (Reason.CYCLES, Reason.INSTRUCTION, Reason.ADDRESS):
            self.show_bus() if done <= 1 else self.show_next()
        elif held.reason is Reason.LIMIT:
            self.screen.show("The CPU still waits, halted or held, after a second of board time.")
        else:
            self.show_held(held)

    def show_held(self, held: Held) -> None:
        """Say why the machine is held, and show the bus."""
        text = held_sentence(held, self.machine)
        for line in textwrap.wrap(text, self.screen.width, subsequent_indent="  "):
            self.screen.show(line)
        self.show_bus()

    def show_bus(self) -> None:
        """Show the last machine cycle in full."""
        if not len(self.machine.trace):
            self.screen.show("No machine cycle has been done since power came on.")
            return
        record = self.machine.trace[-1]
        length = self.machine.t - int(record["t"])
        text = instruction_of(self.machine)
        for line in bus.panel(record, length, text, self.places, self.screen.width):
            self.screen.show(line)

    def show_rows(self, count: int, of: int = 0, head: bool = False) -> None:
        """Show the last ``count`` machine cycles, one a row."""
        records = self.machine.trace.last(count)
        if head:
            for line in bus.header(self.screen.width):
                self.screen.show(line)
        if of > count:
            before = counted(of - count, "machine cycle")
            self.screen.show(f"{'…':>10} {before} before")
        for line in bus.rows(records, self.screen.width, self.disassembly):
            self.screen.show(line)

    def show_next(self) -> None:
        """Show which instruction comes next."""
        registers = self.machine.registers
        if registers.boundary:
            text = f"{registers.pc:04X}  {instruction_at(self.machine, registers.pc)}"
            self.screen.show(f"  next     {text}")

    def disassembly(self, record: Any) -> str:
        """The instruction that an opcode fetch or an interrupt acknowledge begins."""
        return begun(self.machine, record)

    def _on_serial(self, byte: int) -> None:
        self.screen.serial(bytes([byte]))


def _told(error: UserError, line: str) -> UserError | str:
    """The error; one that stands in the line itself with a caret under its place."""
    column = error.place.column
    if error.source or error.place.file or error.place.line or not column:
        return error
    text = UserError(error.message, expected=error.expected, nearest=error.nearest)
    return f"{text}{pointed(line, column)}"


def own_mistake(error: Exception, outcome: str = "the session goes on") -> str:
    """What to say of a mistake of the program itself; its traceback goes to a file."""
    text = f"emu85 itself made a mistake ({type(error).__name__}: {error}); {outcome}"
    path = state_dir.folder() / "mistake.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        Path(path).write_text("".join(traceback.format_exception(error)), encoding="utf-8")
    except OSError:
        return text
    return f"{text}; please report it with {path}"
