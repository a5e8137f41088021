"""The lines that are a rehearsal's own: what is waited for, and what should be seen.

``hear``, ``reach``, ``wait`` and ``at`` let the board run; ``heard``, ``see`` and
``mark`` look at it as it stands and change nothing.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from emu85.bus.lines import NAMES, Line
from emu85.console.grammar import Action, Form, unfit
from emu85.cpu.layout import IO_BASE
from emu85.errors import UserError
from emu85.machine import Held, Reason
from emu85.rehearsal import looks
from emu85.rehearsal.kinds import STAGE_KINDS, ByteMask, Value
from emu85.rehearsal.listening import NOTHING, hear_out, quoted_pattern, shown
from emu85.rehearsal.patterns import Pattern, first_end, quoted
from emu85.stops import find
from emu85.stops import parse as parse_condition
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.rehearsal.performance import Performance

FORMS: list[Form] = []
"""All forms of a rehearsal's own lines."""


def form(usage: str, summary: str) -> Callable[[Action], Action]:
    """Declare a function as what a line does; as for a console word."""

    def register(action: Action) -> Action:
        detail = inspect.getdoc(action) or ""
        FORMS.append(Form(usage, summary, action, detail, kinds=STAGE_KINDS))
        return action

    return register


# --- lines that let the board run ----------------------------------------------------


@form("hear PATTERN [within TIME]", "run until the serial line has sent this")
def hear(play: Performance, pattern: Pattern, time: int | None = None) -> None:
    """What has come since the last 'hear' or 'heard' counts, too."""
    _hear(play, "", pattern, time)


@form("hear from END PATTERN [within TIME]", "run until one of several serial lines has")
def hear_from(play: Performance, end: str, pattern: Pattern, time: int | None = None) -> None:
    _hear(play, end, pattern, time)


def _hear(play: Performance, end: str, pattern: Pattern, time: int | None) -> None:
    name, _ = play.end_named(end)
    length = play.patience if time is None else time
    amiss = hear_out(play.machine, play.heard, name, pattern, length, play.run)
    if amiss:
        play.differences.append(amiss)


@form("hear nothing for TIME", "let time pass in which the serial line is silent")
def hear_nothing(play: Performance, time: int) -> None:
    _hear_nothing(play, "", time)


@form("hear nothing from END for TIME", "the same of one of several serial lines")
def hear_nothing_from(play: Performance, end: str, time: int) -> None:
    _hear_nothing(play, end, time)


def _hear_nothing(play: Performance, end: str, time: int) -> None:
    name, _ = play.end_named(end)
    _pass(play, time)
    heard_nothing_from(play, name)


@form("reach ADDRESS [within TIME]", "run until the opcode fetch at an address is next")
def reach(play: Performance, address: int, time: int | None = None) -> None:
    length = play.patience if time is None else time
    held = play.run(length, until=address)
    registers = play.machine.registers
    is_there = registers.boundary and not registers.halted and registers.pc == address
    if not is_there or held.reason is Reason.STOP:
        _not_reached(play, f"the opcode fetch at {address:04X}", held, length)


@form("reach stop STOP [within TIME] [CONDITION]", "run until a stop hits, in such a cycle")
def reach_stop(
    play: Performance, stop: int, time: int | None = None, condition: str | None = None
) -> None:
    """The condition is asked of the machine cycle in which the machine is held then:
    reach stop 1 within 20 ms on MW at 8004 data 1B"""
    _has_stop(play, stop)
    length = play.patience if time is None else time
    held = play.run(length)
    if not any(one.number == stop for one in held.stops):
        _not_reached(play, f"stop {stop}", held, length)
    elif condition is not None:
        see_bus(play, condition)


@form("reach any stop [within TIME] [CONDITION]", "run until a stop hits, whichever")
def reach_any_stop(
    play: Performance, time: int | None = None, condition: str | None = None
) -> None:
    """For boards whose firmware makes stops of its own, so that numbers are not known."""
    length = play.patience if time is None else time
    held = play.run(length)
    if not held.stops:
        _not_reached(play, "a stop", held, length)
    elif condition is not None:
        see_bus(play, condition)


@form("reach halt [within TIME]", "run until the CPU is halted")
def reach_halt(play: Performance, time: int | None = None) -> None:
    length = play.patience if time is None else time
    if play.machine.registers.halted:
        return
    stop = play.machine.stops.add_unlisted("on HALT")
    try:
        held = play.run(length)
    finally:
        play.machine.stops.drop_unlisted(stop)
    if stop not in held.stops:
        _not_reached(play, "a halt", held, length)


def _not_reached(play: Performance, what: str, held: Held, length: int) -> None:
    within = looks.span(length, play.machine.clock_hz)
    note = f"within {within}" if held.reason is Reason.LIMIT else play.held_text(held)
    play.differ(what, _where(play), f"not reached: {note}")


def _where(play: Performance) -> str:
    return f"{looks.bus(play.machine)}\n{looks.moment(play.machine)}"


def _has_stop(play: Performance, number: int) -> None:
    with unfit("stop"):
        play.machine.stops[number]


@form("wait TIME", "let board time pass, in a halt too")
def wait(play: Performance, time: int) -> None:
    """As 'run for TIME', but a halt that nothing on the board will end is waited out,
    since somebody may yet type; and a stop that hits is a difference."""
    _pass(play, time)


@form("at T", "let board time pass until a T-state")
def at(play: Performance, t: int) -> None:
    length = t - play.machine.t
    if length < 0:
        play.differ(f"not yet T-state {t}", looks.moment(play.machine))
    elif length:
        _pass(play, length)


@form("at T TEXT", "do a console line at a T-state, counted from power-on")
def at_do(play: Performance, t: int, text: str) -> None:
    """at 1250000 type to usart "x" """
    at(play, t)
    if not play.differences:
        with unfit("text"):
            play.do(text)


def _pass(play: Performance, length: int) -> None:
    held = play.run(length)
    if held.reason is not Reason.LIMIT:
        span = looks.span(length, play.machine.clock_hz)
        play.differ(f"nothing holds the board for {span}", _where(play), play.held_text(held))


# --- lines that look -----------------------------------------------------------------


@form("heard PATTERN", "what has come next from the serial line is this")
def heard(play: Performance, pattern: Pattern) -> None:
    """It is asked of what has come since the last 'hear' or 'heard', from its beginning.
    A * takes as few characters as it can."""
    _heard(play, "", pattern)


@form("heard from END PATTERN", "the same of one of several serial lines")
def heard_from(play: Performance, end: str, pattern: Pattern) -> None:
    _heard(play, end, pattern)


def _heard(play: Performance, end: str, pattern: Pattern) -> None:
    name, _ = play.end_named(end)
    waiting = play.waiting(name)
    there = first_end(pattern, waiting)
    if there is not None:
        play.heard[name] += there
        return
    # What follows as many lines is set against the next expectation, so that one line
    # amiss is one.
    play.heard[name] += sum(map(len, looks.lines_of(waiting)[: _lines_in(pattern)]))
    note = "" if waiting else f"nothing more has come from {name}; 'hear' waits for it"
    play.differ(quoted_pattern(pattern), shown(waiting, its_end=False), note)


def _lines_in(pattern: Pattern) -> int:
    """How many lines a pattern is about, one that does not end in a line feed included."""
    elements = pattern.elements
    return elements.count(_LF) + (elements[-1] != _LF)


_LF = 0x0A


@form("heard nothing", "nothing more has come from the serial line")
def heard_nothing(play: Performance) -> None:
    heard_nothing_from(play, play.end_named("")[0])


@form("heard nothing from END", "the same of one of several serial lines")
def heard_nothing_from(play: Performance, end: str) -> None:
    waiting = play.waiting(end)
    play.heard[end] += len(waiting)
    if waiting:
        play.differ(NOTHING, shown(waiting))


@form("see VALUES...", "registers, pairs and flags have these values")
def see_registers(play: Performance, values: list[Value]) -> None:
    """see A 3E  Z 1  HL 8004"""
    wrong = [one for one in values if looks.value_of(play.machine, one.name) != one.value]
    if wrong:
        names = [one.name for one in wrong]
        play.differ(" ".join(one.text for one in wrong), looks.registers(play.machine, names))


@form("see interrupts enabled", "interrupts are enabled")
def see_enabled(play: Performance) -> None:
    _see_enabled(play, True)


@form("see interrupts disabled", "interrupts are disabled")
def see_disabled(play: Performance) -> None:
    _see_enabled(play, False)


def _see_enabled(play: Performance, expected: bool) -> None:
    words = ("interrupts disabled", "interrupts enabled")
    is_so = bool(play.machine.registers.ie)
    if is_so is not expected:
        play.differ(words[expected], words[is_so])


@form("see mem ADDRESS BYTES...", "memory from an address on holds these bytes")
def see_memory(play: Performance, address: int, bytes: list[ByteMask]) -> None:
    """see mem 8000 3E xx 1x"""
    with unfit("address"):
        if address + len(bytes) > 0x10000:
            raise UserError(
                f"{counted(len(bytes), 'byte')} from {address:04X} on: beyond FFFF",
                expected="bytes up to FFFF",
            )
    expected = []
    seen = []
    for at, row in looks.memory(play.machine, address, address + len(bytes) - 1):
        wanted = bytes[at - address : at - address + len(row)]
        if not all(mask.meets(byte) for mask, byte in zip(wanted, row, strict=True)):
            expected.append(f"{at:04X}  {' '.join(map(str, wanted))}")
            seen.append(f"{at:04X}  {looks.hexadecimal(row)}")
    if expected:
        play.differ("\n".join(expected), "\n".join(seen))


@form("see mem RANGE all BYTES", "every byte of a range of memory is this")
def see_all_memory(play: Performance, range: tuple[int, int], bytes: ByteMask) -> None:
    low, high = range
    wrong = [
        f"{at:04X}  {byte:02X}"
        for at, byte in enumerate(play.machine.memory[low : high + 1], low)
        if not bytes.meets(byte)
    ]
    if wrong:
        more = [f"and {len(wrong) - 8} more"] if len(wrong) > 8 else []
        play.differ(f"{low:04X}-{high:04X} all {bytes}", "\n".join(wrong[:8] + more))


@form("see port PORT BYTES", "a port would answer this byte")
def see_port(play: Performance, port: int, bytes: ByteMask) -> None:
    """Looking has no side effects."""
    value = play.machine.board.peek(IO_BASE + port)
    if not bytes.meets(value):
        play.differ(f"port {port:02X}  {bytes}", f"port {port:02X}  {value:02X}")


@form("see line LINE LEVEL", "a line of the CPU is at 0 or 1")
def see_line(play: Performance, line: Line, level: str) -> None:
    """see line RST 7.5 1"""
    now = int(bool(play.machine.lines & line))
    if now != int(level):
        play.differ(f"{NAMES[line]} {level}", f"{NAMES[line]} {now}")


@form("see device ANYDEVICE STATE", "a device stands so, as 'ports' shows it")
def see_device(play: Performance, anydevice: str, state: Pattern) -> None:
    now = play.machine.board.devices[anydevice].state()
    if not state.matches(map(ord, now)):
        play.differ(f"{anydevice} {quoted_pattern(state)}", f"{anydevice} {quoted(now)}")


@form("see bus CONDITION", "the last machine cycle meets a condition")
def see_bus(play: Performance, condition: str) -> None:
    """see bus MW at 8004 data 1B"""
    machine = play.machine
    found = find(parse_condition(condition, symbols=machine.symbols), machine.trace.columns())
    if not len(found) or found[-1] != len(machine.trace) - 1:
        play.differ(condition, _where(play))


@form("see held by stop STOP [CONDITION]", "the last motion ended by a stop")
def see_held(play: Performance, stop: int, condition: str | None = None) -> None:
    _has_stop(play, stop)
    stops = play.held.stops if play.held else ()
    if not any(one.number == stop for one in stops):
        seen = play.held_text(play.held) if play.held else "nothing has moved"
        play.differ(f"held by stop {stop}", seen)
    elif condition is not None:
        see_bus(play, condition)


@form("see halted", "the CPU is halted")
def see_halted(play: Performance) -> None:
    if not play.machine.registers.halted:
        play.differ("halted", _where(play))


@form("see SPAN since MARK", "so much time has passed since a mark, to the T-state")
def see_since(play: Performance, span: int, mark: str) -> None:
    """Two marks are always there: power, and line, where the last console line began."""
    _see_span(play, mark, "", span, span)


@form("see at least LEAST since MARK", "no less than this has passed since a mark")
def see_at_least(play: Performance, least: int, mark: str) -> None:
    _see_span(play, mark, "", least, None)


@form("see at most MOST since MARK", "no more than this has passed since a mark")
def see_at_most(play: Performance, most: int, mark: str) -> None:
    _see_span(play, mark, "", None, most)


@form("see SPAN from MARK to LATER", "so much time lies between two marks")
def see_between(play: Performance, span: int, mark: str, later: str) -> None:
    _see_span(play, mark, later, span, span)


@form("see at least LEAST from MARK to LATER", "no less than this lies between two marks")
def see_at_least_between(play: Performance, least: int, mark: str, later: str) -> None:
    _see_span(play, mark, later, least, None)


@form("see at most MOST from MARK to LATER", "no more than this lies between two marks")
def see_at_most_between(play: Performance, most: int, mark: str, later: str) -> None:
    _see_span(play, mark, later, None, most)


def _see_span(
    play: Performance, mark: str, later: str, least: int | None, most: int | None
) -> None:
    passed = (play.marks[later] if later else play.machine.t) - play.marks[mark]
    if (least is None or passed >= least) and (most is None or passed <= most):
        return
    clock = play.machine.clock_hz
    bound = most if least is None else least
    word = "" if least == most else "at least " if most is None else "at most "
    play.differ(f"{word}{looks.span(bound or 0, clock)}", looks.span(passed, clock))


@form("see shown ROW...", "the last console line showed such lines")
def see_shown(play: Performance, row: list[Pattern]) -> None:
    """In this order; others may stand between. Blanks at the ends of a line do not count:
    see shown "1  armed*LEVEL*" "2  resting*" """
    left = iter(play.shown)
    for number, pattern in enumerate(row):
        if not any(_is_shown(pattern, line) for line in left):
            missing = "\n".join(map(quoted_pattern, row[number:]))
            play.differ(missing, _shown_lines(play.shown))
            return


def _is_shown(pattern: Pattern, line: str) -> bool:
    return any(pattern.matches(map(ord, text)) for text in (line, line.strip()))


def _shown_lines(lines: list[str]) -> str:
    rows = [quoted(line.strip()) for line in lines if line.strip()]
    return "\n".join(_shortened(rows, _MOST_ROWS)) or NOTHING


def _shortened(rows: list[str], most: int) -> list[str]:
    more = len(rows) - most
    return rows[:most] + [f"and {more} more"] * (more > 0)


@form("see no findings", "the board has noticed nothing")
def see_no_findings(play: Performance) -> None:
    _see_findings(play, ())


@form("see findings FINDING...", "the board has noticed these things, and no others")
def see_findings(play: Performance, finding: list[Pattern]) -> None:
    """As 'findings' words them, without how often and symbols; a text with * or ? may stand
    for several:
    see findings "write to ROM at 0012" "read where no chip answers at port 3?" """
    _see_findings(play, finding)


def _see_findings(play: Performance, patterns: Iterable[Pattern]) -> None:
    found = looks.findings(play.machine)
    missing = []
    expected: set[str] = set()
    for pattern in patterns:
        met = {text for text in found if pattern.matches(map(ord, text))}
        expected |= met
        if not met:
            missing.append(quoted_pattern(pattern))
    play.expected_findings |= expected
    left = [quoted(text) for text in found if text not in expected]
    if missing or left:
        none = "no other findings" if expected else "no findings"
        seen = _shortened(left, _MOST_FINDINGS)
        play.differ("\n".join(missing) or none, "\n".join(seen) or none)


@form("mark NEW", "give this moment a name")
def mark(play: Performance, new: str) -> None:
    play.marks[new] = play.machine.t


# -------------------------------------------------------------------------------------


_MOST_ROWS = 50
"""Lines of the console that a difference shows."""
_MOST_FINDINGS = 20
"""Findings that it shows."""
WORDS = frozenset(form.word for form in FORMS)
"""First words of a rehearsal's own lines."""
LOOKING = frozenset({"heard", "see", "mark"})
"""Those of them that let no time pass."""
