"""``emu85 delay``: the command's options, and what is done with them."""

from __future__ import annotations

import argparse
import sys
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from emu85.errors import UserError, nearest
from emu85.written_files import keep_apart

if TYPE_CHECKING:
    from emu85.board.quantities import Length
    from emu85.timing.delay import Plan, Use, Waits
    from emu85.timing.delay.waits import BoardWaits

_DONE, _NOT_AS_PROMISED = 0, 1
_MOST_WAITS = 255
_MOST_T = 10**12
_LONG_RUN = 10**10
"""T-states whose run takes so long that it is announced."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    add("time", nargs="*", help="how long, such as '10 ms' or '2.5 us'")
    add("--t-states", metavar="COUNT", help="how long in T-states, instead of a time")
    add(
        "--crystal",
        nargs="+",
        metavar="MHZ",
        help="such as '6.144 MHz', which is meant if left out with --t-states; CLK is half of it",
    )
    add("--board", help="a board whose crystal and wait states count")
    add("--at", metavar="ADDRESS", help="with --board: where the code stands (its first ROM)")
    add("--waits", metavar="COUNT", help="wait states in each read of the code (0)")
    add("--stack-waits", metavar="COUNT", help="wait states in each cycle of the stack (0)")
    add(
        "--registers",
        metavar="LIST",
        help="counters that may be used, outermost first: B, BC or BC,DE; the shortest if left out",
    )
    add("--levels", metavar="COUNT", help="loops one in another, 1 to 3; the shortest if left out")
    add(
        "--as",
        dest="use",
        metavar="USE",
        default="routine",
        help="routine (CALL and RET are counted) or inline (no stack is used)",
    )
    add("--name", default="DELAY", help="the label (DELAY)")
    add("--write", metavar="FILE", help="write the source to a file as well")
    parser.set_defaults(action=delay)


class _Place(NamedTuple):
    """What the delay runs on; ``clock`` in hertz, ``board`` None if only numbers are given."""

    clock: Fraction
    waits: Waits
    board: BoardWaits | None
    start: int


def delay(options: argparse.Namespace) -> int:
    """Solve, prove, print, write what is asked for.

    Returns:
        0, or 1 if the run did not take what was promised.

    Raises:
        UserError: options that cannot be taken, or a time that is out of reach.
    """
    from emu85.console.numbers import number
    from emu85.firmware import atomic_write
    from emu85.timing.delay import Use
    from emu85.timing.delay.answer import answer, plan
    from emu85.timing.delay.loops import MOST_LEVELS, USUAL, of_depth, read_nests

    use = _use(options.use)
    _check_name(options.name)
    keep_apart([("the board file", options.board)], [("the source", options.write)])
    nests = USUAL if options.registers is None else read_nests(options.registers)
    if options.levels is not None:
        wants = f"--levels with 1 to {MOST_LEVELS}"
        nests = of_depth(nests, number(options.levels, 10, 1, MOST_LEVELS, wants))
    length = _length(options)
    place = _place(options, with_stack=use is Use.ROUTINE)
    wanted = length.t_states(place.clock)
    found = plan(wanted, place.clock, use, place.waits, nests)
    if place.board is not None:
        place.board.of_code(place.start, found.size, with_stack=use is Use.ROUTINE)
    _announce(found)
    done = answer(found, wanted, place.clock, options.name)
    print(done.source)
    print(done.about, end="")
    if options.write:
        atomic_write(options.write, done.source)
        print(f"written   {options.write}")
    return _DONE if done.is_kept else _NOT_AS_PROMISED


def _announce(found: Plan) -> None:
    from emu85.console.start import announce_compilation

    announce_compilation()
    if found.t_states > _LONG_RUN:
        print(f"emu85: running {found.t_states} T-states ...", file=sys.stderr, flush=True)


def _use(word: str) -> Use:
    from emu85.timing.delay import Use

    words = [use.value for use in Use]
    if word.casefold() not in words:
        raise UserError(
            f"--as {word!r} is no use",
            expected=f"one of {', '.join(words)}",
            nearest=nearest(word, words),
        )
    return Use(word.casefold())


def _check_name(name: str) -> None:
    from emu85.firmware import assemble

    try:
        assemble(f"{name}: NOP\n{name}1: NOP\n", "--name")
    except UserError as error:
        raise UserError(f"--name {name!r} cannot be a label: {error.message}") from None


def _length(options: argparse.Namespace) -> Length:
    from emu85.board.quantities import Length, duration
    from emu85.console.numbers import number

    if options.t_states is not None:
        if options.time:
            raise UserError("a time and --t-states are one too many", expected="one of them")
        wants = f"--t-states with 1 to {_MOST_T}"
        return Length(Fraction(number(options.t_states, 10, 1, _MOST_T, wants)), True)
    if not options.time:
        raise UserError("no time is named", expected="one such as '10 ms', or --t-states COUNT")
    return Length(duration(" ".join(options.time)), False)


def _place(options: argparse.Namespace, *, with_stack: bool) -> _Place:
    from emu85.board import fit, load_board
    from emu85.console.numbers import plain_address
    from emu85.timing.delay import Waits
    from emu85.timing.delay.waits import BoardWaits

    if options.board is None:
        if options.at is not None:
            raise UserError("--at goes with --board", expected="--waits, or a board")
        return _Place(_named_clock(options), Waits(*_waits(options)), None, 0)
    if options.waits is not None or options.stack_waits is not None:
        raise UserError("the board's wait states count", expected="either --board or --waits")
    description = load_board(options.board)
    waits = BoardWaits(fit(description))
    start = waits.first_rom()
    if options.at is not None:
        start = plain_address(options.at)
    clock = description.clock if options.crystal is None else _clock(options.crystal)
    return _Place(clock, waits.of_code(start, 1, with_stack=with_stack), waits, start)


def _named_clock(options: argparse.Namespace) -> Fraction:
    """Of the crystal that is named; a count of T-states is the same at any."""
    from emu85.timing.cards import CRYSTAL

    if options.crystal is not None:
        return _clock(options.crystal)
    if options.t_states is None:
        raise UserError("no crystal is named", expected="--crystal '6.144 MHz', or --board")
    return CRYSTAL / 2


def _waits(options: argparse.Namespace) -> tuple[int, int]:
    from emu85.console.numbers import number

    code, stack = (
        0 if text is None else number(text, 10, 0, _MOST_WAITS, f"{name} with 0 to {_MOST_WAITS}")
        for name, text in (("--waits", options.waits), ("--stack-waits", options.stack_waits))
    )
    return code, stack


def _clock(words: list[str]) -> Fraction:
    from emu85.board.schema import read_crystal

    return read_crystal(" ".join(words)) / 2
