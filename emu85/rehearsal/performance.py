"""A rehearsal being performed: line after line, each on the board as the last one left it.

A console line is executed as the console executes it, by a
:class:`~emu85.console.session.Session` of its own whose output nobody reads (``see shown``
asks for it).  The lines of the rehearsal itself are forms of the same grammar
(:mod:`emu85.rehearsal.lines`).

Nothing here waits for the wall clock, and nothing is looked at in small steps: a line
that waits for something has the machine run to the end of its time and be held the
moment it comes (a stop, a character at a serial end), and what does not end by itself
is held by the machine at the T-state at which the limit is over.  So a verdict is the same on any
machine, and comes as fast as the machine computes.
"""

from __future__ import annotations

from collections.abc import Iterator

from emu85.board.schedule import NEVER
from emu85.board.serial import SerialLine, Terminal
from emu85.console.grammar import Unfit, parse
from emu85.console.motion import FOREVER, Motion
from emu85.console.session import Session, own_mistake
from emu85.console.throttle import Throttle
from emu85.console.tokens import split_line
from emu85.console.views.held import held_sentence
from emu85.console.words import FORMS as CONSOLE_FORMS
from emu85.console.words import looking
from emu85.errors import Place, UserError
from emu85.machine import Held, Machine, Reason
from emu85.rehearsal import looks
from emu85.rehearsal.kinds import StageContext
from emu85.rehearsal.lines import FORMS, LOOKING, WORDS
from emu85.rehearsal.overheard import Overheard
from emu85.rehearsal.script import Line, Script
from emu85.rehearsal.verdict import Difference, Step

_PATIENCE = 1.0
"""Seconds of board time that a line waits if neither it nor the heading says how long."""
_LIMIT = 60.0
"""Seconds of board time after which a console line that does not end is given up."""
POWER, LINE = "power", "line"
"""Marks that are always there: T-state 0, and the beginning of the last console line."""
_CHANGING_NOTHING = LOOKING | {
    "findings",
    *(form.word for form in CONSOLE_FORMS if form.action.__module__ == looking.__name__),
}
"""Words of lines that are still performed below a failure."""


class Endless(UserError):
    """A console line that does not end by itself."""


class _Unhurried(Throttle):
    """Has a run pass in one slice: how fast this computer is decides nothing."""

    def slice_begins(self, t: int) -> int:
        return FOREVER

    def slice_ended(self, t: int) -> float:
        return 0.0


class _Driver:
    """Lets a motion pass in board time alone, and not for ever.

    Attributes:
        limit: T-states that a motion may take; None for one that is given its length.
        held: how the last motion ended.
    """

    has_keyboard = False

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self.limit: int | None = None
        self.held: Held | None = None

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        """Let a motion pass.

        Raises:
            Endless: it has not ended within the limit, to the machine cycle.
        """
        machine, limit = self._machine, self.limit
        end = NEVER if limit is None else machine.t + limit
        held = self._moved(motion, end)
        if held is None or (held.reason is Reason.LIMIT and machine.t >= end):
            raise Endless(
                f"it still runs after {looks.span(limit or 0, machine.clock_hz)}",
                expected="'run for TIME', a stop that hits, or 'limit:' in the heading",
            )
        self.held = held
        return held

    def _moved(self, motion: Motion, end: int) -> Held | None:
        """How a motion ended; None if it was still under way at T-state ``end``.

        The machine itself rests there: slices may be of any length.
        """
        machine, held = self._machine, None
        machine.bound = end
        try:
            while held is None and machine.t < end:
                held = motion.advance()
        finally:
            machine.bound = NEVER
        return held


class Performance:
    """What the lines of a rehearsal work on.

    Attributes:
        machine: the board, and its time.
        session: executes console lines.
        patience: T-states that ``hear`` and ``reach`` wait if they do not say.
        marks: T-states of moments by name.
        heard: by serial end, how many of the characters received have been told of.
        differences: of the line being performed.
        expected_findings: texts of findings that a line expected and that were there.
    """

    def __init__(self, script: Script, machine: Machine) -> None:
        """``machine`` as :func:`emu85.rehearsal.stage.set_up` gives it.

        Raises:
            UserError: a time in the heading that is none.
        """
        self.machine = machine
        self._limit = script.time("limit", machine.clock_hz, _LIMIT)
        self._driver = _Driver(machine)
        self._screen = Overheard()
        self.session = Session(machine, self._screen, driver=self._driver)
        self.session.throttle = _Unhurried(None, machine.clock_hz)
        self.session.folder = script.folder
        self.patience = script.time("patience", machine.clock_hz, _PATIENCE)
        self.marks = {POWER: 0, LINE: 0}
        self.heard = dict.fromkeys(machine.board.serial_ends, 0)
        self.differences: list[Difference] = []
        self.expected_findings: set[str] = set()
        self._before_power = 0
        self._script = script

    @property
    def context(self) -> StageContext:
        """What a line may know."""
        return StageContext(**vars(self.session.context), marks=tuple(self.marks))

    @property
    def seconds(self) -> float:
        """Board time that has passed, that before a power-on included."""
        return (self._before_power + self.machine.t) / self.machine.clock_hz

    @property
    def shown(self) -> list[str]:
        """What the last console line has shown."""
        return self._screen.lines

    @property
    def held(self) -> Held | None:
        """How the last motion ended."""
        return self._driver.held

    def steps(self) -> Iterator[Step]:
        """Perform the lines; ends with the first that fails, and the looks right below it."""
        failed = False
        for line in self._script.lines:
            if failed and split_line(line.text)[0].folded not in _CHANGING_NOTHING:
                return
            step = self._perform(line)
            failed |= bool(step.differences)
            yield step
            if self.session.is_over:
                return

    def _perform(self, line: Line) -> Step:
        self.differences = []
        try:
            self.do(line.text)
        except UserError as error:
            told = UserError(error.message, expected=error.expected, nearest=error.nearest)
            is_elsewhere = error.place.file or error.place.line
            self._cannot(str(error if is_elsewhere else told))
        except OSError:
            raise  # what is printed cannot be; nobody would read more
        except Exception as error:  # others are still to be performed
            self._cannot(own_mistake(error, "the rehearsal ends here"))
        return Step(line.place, line.text.strip(), self.machine.t, tuple(self.differences))

    def _cannot(self, why: str) -> None:
        self.differ("the line can be done", "it cannot", why)

    def do(self, text: str) -> None:
        """Do what one line says, be it the rehearsal's own or the console's.

        Raises:
            UserError: it cannot be taken or done.
        """
        if split_line(text)[0].folded in WORDS:
            command = parse(text, FORMS, self.context)
            assert command is not None
            try:
                command.form.action(self, **command.values)
            except Unfit as error:
                place = Place(column=command.columns[error.slot] + error.offset)
                raise error.at(place) from None
        else:
            self._execute(text)

    def _execute(self, text: str) -> None:
        """Have the console do a line."""
        t = self.machine.t
        command = parse(text, self.session.forms, self.session.context)
        time = command.values.get("time") if command else None
        self._driver.limit = None if isinstance(time, int) else self._limit
        self._driver.held = None
        self.marks[LINE] = t
        self._screen.begin_again()
        self.session.execute(text)
        self.session.throttle.factor = None  # 'speed' concerns the wall clock alone
        if command and command.form.word == POWER:
            self._before_power += t
            self.marks = {POWER: 0, LINE: 0}
        for name, end in self.machine.board.serial_ends.items():
            self.heard[name] = min(self.heard[name], len(end.received))

    # --- what the rehearsal's own lines do ---------------------------------------

    def run(self, t_states: int, until: int | None = None) -> Held:
        """Let board time pass, also in a halt that only somebody outside can end."""
        held = self.machine.run(t_states=t_states, until=until, wait=True)
        self._driver.held = held
        return held

    def differ(self, expected: str, seen: str, note: str = "") -> None:
        """Note that something is not as expected."""
        self.differences.append(Difference(expected, seen, note))

    def held_text(self, held: Held) -> str:
        """Why the machine is held, in a sentence."""
        return held_sentence(held, self.machine)

    def end_named(self, name: str) -> tuple[str, SerialLine | Terminal]:
        """A serial end; the one that the console is at if ``name`` is empty.

        Raises:
            UserError: there is none.
        """
        if name:
            return name, self.machine.board.serial_ends[name]
        return self.session.pane.name, self.session.pane.end

    def waiting(self, name: str) -> bytes:
        """What has come from a serial end and has not been told of."""
        received = self.machine.board.serial_ends[name].received
        return bytes(received[self.heard[name] :])
