"""Options that say what moves a board while it is watched: a length of time, or a rehearsal."""

from __future__ import annotations

import argparse
from fractions import Fraction
from typing import TYPE_CHECKING

from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.burn import Drive

_LONGEST = Fraction(3600)
"""Seconds of board time in one run."""
_MOST_T_STATES = 10**12


def add_drive_options(parser: argparse._ActionsContainer, default: str) -> None:
    """``--for`` and ``--rehearsal``.

    Args:
        default: the time of a run if neither is given.
    """
    parser.add_argument(
        "--for",
        dest="time",
        metavar="TIME",
        help=f"board time such as '20 ms', or a count of T-states (default {default})",
    )
    parser.add_argument("--rehearsal", metavar="FILE", help="perform this rehearsal instead")


def drive(options: argparse.Namespace, board: BoardDescription, default: str) -> Drive:
    """What the options ask for.

    Raises:
        UserError: a time that is none, both options at once, or a rehearsal that cannot
            be read.
    """
    from emu85.burn import PlainRun

    if options.rehearsal is None:
        return PlainRun(run_seconds(options.time or default, board))
    return rehearsed(options)


def rehearsed(options: argparse.Namespace) -> Drive:
    """The rehearsal that the options name.

    Raises:
        UserError: a time as well, or a rehearsal that cannot be read.
    """
    from emu85.rehearsal.drive import RehearsedRun

    if options.time is not None:
        raise UserError("a rehearsal says itself how long it runs", expected="no --for with it")
    return RehearsedRun(options.rehearsal)


def run_seconds(text: str, board: BoardDescription, *, least: int = 1) -> Fraction:
    """The length of a run in seconds; ``least`` T-states if it is a count of them, with T or
    without.

    Raises:
        UserError: a time that is none.
    """
    from emu85.board.quantities import duration
    from emu85.console.numbers import number

    digits = text.removesuffix("T").removesuffix("t").rstrip()
    if digits.isdecimal():
        of_t = f"a count of T-states, {least} to {_MOST_T_STATES}"
        return number(digits, 10, least, _MOST_T_STATES, of_t) / board.clock
    return duration(text, _LONGEST)
