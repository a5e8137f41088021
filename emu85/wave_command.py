"""``emu85 wave``: firmware run to some place, and its waveform from there on."""

from __future__ import annotations

import argparse
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.drive_options import run_seconds
from emu85.errors import UserError
from emu85.firmware_option import firmware_file
from emu85.written_files import keep_apart

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
        help="begin with the machine cycle that a stop would hold: 'MW at 8004', 'OF at START'",
    )
    begin.add_argument("--after", metavar="TIME", help="begin after so much board time")
    end = parser.add_mutually_exclusive_group()
    end.add_argument("--cycles", metavar="NUMBER", help=f"machine cycles (default {_CYCLES})")
    end.add_argument("--for", dest="time", metavar="TIME", help="board time, or T-states")
    add("--pins", metavar="NAMES", help="pins to draw, with commas: 'ALE,AD0-AD7,RST 7.5'")
    add("--part", help="CPU part, as 8085AH-2, instead of the board's")
    add("--crystal", metavar="FREQ", help="crystal for the edges instead of the board's")
    add("--width", metavar="COLUMNS", help="of the text (default 80, or the terminal's)")
    add("--svg", metavar="FILE", help="write a drawing")
    add("--vcd", metavar="FILE", help="write a value change dump, of any length")
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
    keep_apart((("the firmware", file), ("the drawing", options.svg), ("the dump", options.vcd)))
    figure = _figure(options, board)
    pins = _pins(options.pins)
    length = _Length(options, board)
    announce_compilation()
    memory = tuple(replace(chip, battery_file=None) for chip in board.memory)
    machine = Machine(fit(replace(board, memory=memory)), trace=_TRACE)
    machine.load(file, at=_address(options.at))
    begun = _reach(machine, options, board)
    if options.vcd:
        _dump(machine, Path(options.vcd), figure, length, begun)
        if not options.svg:
            return 0
    else:
        length.check_drawable()
        length.pass_by(machine, begun)
    _draw(machine, options, figure, pins, begun, length)
    return 0


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

    def pass_by(self, machine: Machine, begun: int) -> None:
        """Let the stretch go by, of which the trace has ``begun`` cycles already."""
        if self.cycles is None:
            machine.run(t_states=self.t_states, wait=True)
        elif self.cycles > begun:
            machine.step(self.cycles - begun)


def _reach(machine: Machine, options: argparse.Namespace, board: BoardDescription) -> int:
    """Bring the machine to where the stretch begins.

    Returns:
        how many machine cycles of the stretch have been done: 1 if it begins with the one
        that meets a condition.
    """
    if options.after is not None:
        seconds = run_seconds(options.after, board, least=0)
        t_states = round(seconds * board.clock)
        if t_states:
            machine.run(t_states=t_states, wait=True)
        return 0
    if options.condition is None:
        return 0
    text = options.condition.strip()
    stop = machine.stops.add(text if text.startswith("when ") else f"on {text}", machine.symbols)
    limit = round(run_seconds(_LONGEST_SEARCH, board) * board.clock)
    held = machine.run(t_states=limit, wait=True)
    machine.stops.drop(stop.number)
    if stop not in held.stops:
        raise UserError(
            f"no machine cycle met {options.condition!r} within {_LONGEST_SEARCH} of board time"
        )
    return 1


def _dump(machine: Machine, file: Path, figure: Figure, length: _Length, begun: int) -> None:
    from emu85.firmware.files import atomic_stream
    from emu85.profile import Gathering
    from emu85.timing.vcd import VcdWriter
    from emu85.wording import counted

    start, before = machine.t, machine.trace.total
    if begun:
        start = int(machine.trace[-1]["t"])
    with atomic_stream(file) as stream:
        writer = VcdWriter(stream, figure.placer, figure.board)
        writer.feed(machine.trace.last(begun))
        with Gathering(machine, writer):
            length.pass_by(machine, begun)
        writer.finish(machine.t)
    done = machine.trace.total - before + begun
    print(
        f"{file}: {counted(done, 'machine cycle')}, {counted(machine.t - start, 'T-state')} "
        f"from T-state {start}"
    )


def _draw(
    machine: Machine,
    options: argparse.Namespace,
    figure: Figure,
    pins: list[str] | None,
    begun: int,
    length: _Length,
) -> None:
    import shutil
    import sys

    from emu85.console.numbers import number
    from emu85.console.views.code import begun as instruction
    from emu85.timing.diagram_text import BLOCKS, PLAIN, key_line, text_diagram
    from emu85.timing.stretch import stretch_of
    from emu85.timing.wave_files import check_drawable, write_wave

    trace = machine.trace
    count = length.cycles or _cycles_since(machine, length.t_states) + begun
    check_drawable(count)
    stretch = stretch_of(machine, len(trace) - count, count, lambda one: instruction(machine, one))
    if options.svg:
        write_wave(Path(options.svg), stretch, figure, pins)
        print(f"{options.svg}: {figure.title(stretch)}")
        return
    is_terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if is_terminal else 80
    if options.width is not None:
        width = number(options.width, 10, 30, 1000, "--width with 30 to 1000 columns")
    marks = BLOCKS if is_terminal else PLAIN
    for line in text_diagram(stretch, width=width, pins=pins, marks=marks):
        print(line)
    print(key_line(marks))


def _cycles_since(machine: Machine, t_states: int) -> int:
    """Machine cycles that have begun in the last so many T-states."""
    starts = machine.trace.all()["t"]
    return int((starts >= machine.t - t_states).sum())


def _figure(options: argparse.Namespace, board: BoardDescription) -> Figure:
    from emu85.board.quantities import frequency
    from emu85.board.schema import HIGHEST_CRYSTAL, LOWEST_CRYSTAL
    from emu85.timing.ac_table import part_named
    from emu85.timing.wave_files import Figure

    crystal: Fraction = board.crystal
    if options.crystal is not None:
        crystal = frequency(options.crystal, LOWEST_CRYSTAL, HIGHEST_CRYSTAL)
    return Figure(board.name, part_named(options.part or board.cpu), crystal)


def _pins(text: str | None) -> list[str] | None:
    from emu85.bus.pins import pin_named

    return None if text is None else [pin_named(name.strip()) for name in text.split(",")]


def _address(text: str | None) -> int | None:
    from emu85.console.numbers import number

    return None if text is None else number(text, 16, 0, 0xFFFF, "an address, 0000 to FFFF")
