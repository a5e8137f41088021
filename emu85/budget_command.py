"""``emu85 budget``: the command's options, and what is done with them.

It stands outside :mod:`emu85.timing` so that the command line can read its options without
that package's imports.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from emu85.errors import UserError
from emu85.written_files import PRINTED, file_of, keep_apart

if TYPE_CHECKING:
    from emu85.timing.budget import Budget

T = TypeVar("T")
_ENOUGH, _NOT_ENOUGH = 0, 1
"""Exit statuses; a mistake in what is asked for gives 2."""
_EVERY = ""
"""Instead of a name: all memory chips."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    parser.description = (
        "What the CPU's AC table gives for each memory and I/O access, less what the board's "
        "parts need. The exit status is 1 if time is missing somewhere."
    )
    add("board", help="a demo board's name, or a board file")
    add("--part", help="CPU part, as 8085AH-2, instead of the board's")
    add("--crystal", metavar="FREQ", help="crystal, as '10 MHz', instead of the board's")
    add(
        "--access",
        metavar="'TIME for NAME'",
        action="append",
        default=[],
        help="suppose that a memory chip is one of so many ns: '450 ns for program', or "
        "'450 ns' for all of them; may be given again",
    )
    add(
        "--waits",
        metavar="'N for NAME'",
        action="append",
        default=[],
        help="suppose so many wait states: '1 for program'; may be given again",
    )
    add("--explain", metavar="NAME", help="the sums of a chip, a device or 'board', line by line")
    add("--json", metavar="FILE", help="write the figures as JSON; - prints it")
    parser.set_defaults(action=print_budget)


def print_budget(options: argparse.Namespace) -> int:
    """Make the sums, print or write them.

    Returns:
        0, or 1 if time is missing somewhere.

    Raises:
        UserError: options or a board that cannot be taken.
    """
    from emu85.board.shelf import find_board
    from emu85.firmware.files import atomic_write
    from emu85.timing import budget_data, budget_text

    file = file_of(options.json)
    keep_apart([("the board file", find_board(options.board))], [("the JSON file", file)])
    found = _budget(options)
    if options.json == PRINTED:
        print(budget_data.write_json(found), end="")
    elif options.explain is not None:
        print(budget_text.explain(found, options.explain), end="")
    else:
        print(budget_text.write_text(found), end="")
    if file:
        atomic_write(file, budget_data.write_json(found))
    return _ENOUGH if found.suffices else _NOT_ENOUGH


def _budget(options: argparse.Namespace) -> Budget:
    from emu85.board import load_board
    from emu85.board.quantities import decimal, duration
    from emu85.board.schema import LONGEST_GATE_TIME, MOST_WAITS, read_crystal
    from emu85.timing.ac_table import part_named
    from emu85.timing.budget import budget, supposing

    board = supposing(
        load_board(options.board),
        dict(_supposed("--access", options.access, lambda text: duration(text, LONGEST_GATE_TIME))),
        dict(_supposed("--waits", options.waits, lambda text: decimal(text, 0, MOST_WAITS))),
    )
    part = part_named(options.part) if options.part is not None else None
    crystal = read_crystal(options.crystal) if options.crystal is not None else None
    return budget(board, part, crystal)


def _supposed(option: str, texts: Sequence[str], read: Callable[[str], T]) -> list[tuple[str, T]]:
    """The name and the value of each ``VALUE for NAME``."""
    found = []
    for text in texts:
        value, word, name = (part.strip() for part in text.partition(" for "))
        if (word and not name) or (option == "--waits" and not word):
            raise UserError(
                f"{option} {text!r} names no chip", expected=f"{option} '{value} for NAME'"
            )
        found.append((name if word else _EVERY, read(value)))
    return found
