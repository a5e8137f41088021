"""``emu85 wave``: firmware run to some place, and its waveform from there on."""

from __future__ import annotations

import argparse
import contextlib
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from emu85.drive_options import run_seconds
from emu85.errors import UserError
from emu85.firmware_option import binary_at, firmware_file
from emu85.written_files import PRINTED, keep_apart

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.machine import Machine
    from emu85.timing.wave_files import Figure

_CYCLES = 8
"""Machine cycles that are shown if nothing is said."""
_MOST_CYCLES = 1_000_000_000
_TRACE = 200_000
"""Machine cycles that the trace holds; a dump is written as the board runs."""
_LONGEST_SEARCH = "60 s"
"""Board time within which the place has to be reached."""
_LONGEST_HALT = 1.0
"""Seconds of board time after which a halt is taken for one that lasts."""
_PART = 2000
"""T-states after which it is looked whether the CPU has halted for good."""
_REST = 8
"""T-states that are shown of a halt that nothing ends."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    parser.description = (
        "Runs firmware from power-on to some place and shows what stands on the pins from "
        "there on, T-state by T-state."
    )
    add("firmware", nargs="?", help=".asm, .hex or .bin; the board's own if left out")
    add("--board", required=True, help="a demo board's name, or a board file")
    add("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    begin = parser.add_mutually_exclusive_group()
    begin.add_argument(
        "--from",
        dest="condition",
        metavar="CONDITION",
        help="begin with the machine cycle that a stop would hold: 'MW at 8004', 'OF at START'; "
        "RESET for the reset at power-on",
    )
    begin.add_argument("--after", metavar="TIME", help="begin after so much board time")
    end = parser.add_mutually_exclusive_group()
    end.add_argument("--cycles", metavar="NUMBER", help=f"machine cycles (default {_CYCLES})")
    end.add_argument("--for", dest="time", metavar="TIME", help="board time, or T-states")
    add("--pins", metavar="NAMES", help="pins to draw, with commas: 'ALE,AD0-AD7,RST 7.5'")
    add("--part", help="CPU part, as 8085AH-2, instead of the board's")
    add("--crystal", metavar="FREQ", help="crystal for the edges instead of the board's")
    add("--width", metavar="COLUMNS", help="of the text (default 80, or the terminal's)")
    add("--svg", metavar="FILE", help="write a drawing; - prints it")
    add("--vcd", metavar="FILE", help="write a value change dump, of any length; - prints it")
    parser.set_defaults(action=wave)


def wave(options: argparse.Namespace) -> int:
    """Run, and show or write the waveform.

    Returns:
        0.

    Raises:
        UserError: options, firmware or a board that cannot be taken; a place that is not
            reached; a stretch too long to be drawn.
    """
    from emu85.board import fit, load_board
    from emu85.console.start import announce_compilation
    from emu85.machine import Machine

    board = load_board(options.board)
    file = firmware_file(options.firmware, board)
    keep_apart([("the firmware", file)], [("the drawing", options.svg), ("the dump", options.vcd)])
    figure = _figure(options, board)
    if figure.warning:
        print(f"note: {figure.warning}", file=sys.stderr)
    pins = _pins(options.pins)
    length = _Length(options, board)
    announce_compilation()
    machine = Machine(fit(board.without_batteries()), trace=_TRACE)
    machine.load(file, at=binary_at(options.at))
    begin = _reach(machine, options, board)
    if options.vcd:
        _dump(machine, options, figure, length, begin)
        if not options.svg:
            return 0
    else:
        length.check_drawable()
        length.pass_by(machine, begin)
    _draw(machine, options, figure, pins, begin, length)
    return 0


class _Begin(NamedTuple):
    """Where the stretch begins.

    Attributes:
        t: T-state.
        total: ``trace.total`` before the first machine cycle that begins in it.
        rests: the CPU is in the middle of a halt or hold, whose record is older.
    """

    t: int
    total: int
    rests: bool = False


class _Length:
    """How long the stretch is: a number of machine cycles, or T-states."""

    def __init__(self, options: argparse.Namespace, board: BoardDescription) -> None:
        from emu85.console.numbers import number

        self.cycles: int | None = None
        self.t_states = 0
        if options.time is not None:
            self.t_states = max(1, round(run_seconds(options.time, board) * board.clock))
        else:
            text = options.cycles or str(_CYCLES)
            wants = f"--cycles with 1 to {_MOST_CYCLES}"
            self.cycles = number(text, 10, 1, _MOST_CYCLES, wants)

    def check_drawable(self) -> None:
        """Refuse a number of machine cycles that is too large for a drawing."""
        from emu85.timing.wave_files import check_drawable

        check_drawable(self.cycles or 0)

    def pass_by(self, machine: Machine, begin: _Begin) -> None:
        """Let the stretch go by, or what is left of it."""
        from emu85.halts import is_halted_for_good
        from emu85.machine import Reason

        if self.cycles is None:
            machine.run(t_states=self.t_states, wait=True)
            return
        goal = begin.total + self.cycles
        patience = machine.t + round(_LONGEST_HALT * machine.clock_hz)
        while (left := goal - machine.trace.total) > 0:
            held = machine.step(left, t_states=_PART)
            now_left = goal - machine.trace.total
            if now_left < left:
                patience = machine.t + round(_LONGEST_HALT * machine.clock_hz)
            is_over = held.reason is Reason.HALTED or is_halted_for_good(machine)
            if now_left > 0 and (is_over or machine.t >= patience):
                machine.run(t_states=_REST, wait=True)
                done = machine.trace.total - begin.total
                print(f"Halted after {done} of {self.cycles} machine cycles", file=sys.stderr)
                return

    def shown(self, count: int) -> int:
        """Of the records that have gone by, those asked for: a bus master's come as a block."""
        return count if self.cycles is None else min(count, self.cycles)


def _reach(machine: Machine, options: argparse.Namespace, board: BoardDescription) -> _Begin:
    """Bring the machine to where the stretch begins: past the cycle that meets a condition."""
    from emu85.bus.cycles import Cycle
    from emu85.stops import find, parse

    if options.after is not None:
        seconds = run_seconds(options.after, board, least=0)
        t_states = round(seconds * board.clock)
        if t_states:
            machine.run(t_states=t_states, wait=True)
    if options.condition is None:
        rests = int(machine.trace[-1]["type"]) in (Cycle.HALT, Cycle.HOLD)
        return _Begin(machine.t, machine.trace.total, rests)
    text = options.condition.strip()
    done = find(parse(text, symbols=machine.symbols), machine.trace.columns())
    if len(done):  # the reset at power-on, which no run can come to
        first = int(done[0])
        return _Begin(int(machine.trace[first]["t"]), first)
    stop = machine.stops.add(text, machine.symbols)
    limit = round(run_seconds(_LONGEST_SEARCH, board) * board.clock)
    held = machine.run(t_states=limit, wait=True)
    machine.stops.drop(stop.number)
    if stop not in held.stops:
        raise UserError(
            f"no machine cycle met {options.condition!r} within {_LONGEST_SEARCH} of board time"
        )
    return _Begin(int(machine.trace[-1]["t"]), machine.trace.total - 1)


def _dump(
    machine: Machine,
    options: argparse.Namespace,
    figure: Figure,
    length: _Length,
    begin: _Begin,
) -> None:
    from emu85.profile import Gathering
    from emu85.profile.gathering import First
    from emu85.timing.vcd import VcdWriter
    from emu85.wording import counted

    begun = machine.trace.last(machine.trace.total - begin.total + begin.rests)
    if begin.rests:
        begun["t"] = begin.t
    with _stream(options.vcd) as stream:
        writer = VcdWriter(stream, figure.placer, figure.board)
        wanted = None if length.cycles is None else length.cycles + begin.rests
        first = First(writer, wanted)
        first.feed(begun)
        with Gathering(machine, first):
            length.pass_by(machine, begin)
        end = machine.t if first.end_t is None else first.end_t
        writer.finish(end)
    done = length.shown(machine.trace.total - begin.total)
    _tell(
        options,
        f"{options.vcd}: {counted(done, 'machine cycle')}, {counted(end - begin.t, 'T-state')} "
        f"from T-state {begin.t}",
    )


def _stream(file: str) -> contextlib.AbstractContextManager[BinaryIO]:
    from emu85.firmware.files import atomic_stream

    if file == PRINTED:
        sys.stdout.flush()
        return contextlib.nullcontext(sys.stdout.buffer)
    return atomic_stream(file)


def _tell(options: argparse.Namespace, about: str) -> None:
    """What has been written to a file; not among what is printed in a file's place."""
    if PRINTED not in (options.svg, options.vcd):
        print(about)


def _draw(
    machine: Machine,
    options: argparse.Namespace,
    figure: Figure,
    pins: list[str] | None,
    begin: _Begin,
    length: _Length,
) -> None:
    """Show or write what has gone by."""
    import shutil

    from emu85.console.numbers import number
    from emu85.console.views.code import begun as instruction
    from emu85.timing.diagram_text import BLOCKS, PLAIN, key_line, text_diagram
    from emu85.timing.stretch import stretch_of
    from emu85.timing.wave_files import check_drawable, svg_text, write_wave

    gone = machine.trace.total - begin.total
    count = length.shown(gone) + begin.rests
    check_drawable(count)
    stretch = stretch_of(
        machine,
        len(machine.trace) - gone - begin.rests,
        count,
        lambda one: instruction(machine, one),
        from_t=begin.t,
    )
    if options.svg == PRINTED:
        print(svg_text(stretch, figure, pins), end="")
        return
    if options.svg:
        write_wave(Path(options.svg), stretch, figure, pins)
        _tell(options, f"{options.svg}: {figure.title(stretch)}")
        return
    is_terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if is_terminal else 80
    if options.width is not None:
        width = number(options.width, 10, 30, 1000, "--width with 30 to 1000 columns")
    marks = BLOCKS if is_terminal else PLAIN
    for line in text_diagram(stretch, width=width, pins=pins, marks=marks):
        print(line)
    print(key_line(marks))


def _figure(options: argparse.Namespace, board: BoardDescription) -> Figure:
    from emu85.board.schema import read_crystal
    from emu85.timing.ac_table import part_named
    from emu85.timing.wave_files import Figure

    crystal: Fraction = board.crystal
    if options.crystal is not None:
        crystal = read_crystal(options.crystal)
    return Figure(board.name, part_named(options.part or board.cpu), crystal)


def _pins(text: str | None) -> list[str] | None:
    from emu85.bus.pins import pins_of

    return None if text is None else pins_of(text)
