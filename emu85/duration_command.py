"""``emu85 duration``: the command's options, and what is done with them."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING

from emu85.errors import UserError
from emu85.firmware_option import binary_at, firmware_file, with_symbols

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.firmware import Image
    from emu85.timing.duration import Result
    from emu85.timing.duration.told import Asked

_AS_TOLD, _NOT_AS_TOLD = 0, 1
_MOST_PASSES = 10**9
_MOST_RUNS = 10_000


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    add("routine", help="a label, or a hexadecimal address")
    add("firmware", nargs="?", help=".hex, .bin or .asm; the board's own if left out")
    add("--board", required=True, help="a demo board's name, or a board file")
    add("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    add("--symbols", metavar="FILE", help="symbols to use instead of the image's own")
    add(
        "--at-most",
        metavar="LOOP=PASSES",
        action="append",
        default=[],
        help="how often a loop goes round at most, by its label or address; may be repeated",
    )
    add("--runs", metavar="COUNT", help="call it so often, with any registers and RAM, and measure")
    add("--all", action="store_true", help="every line of the ways, not only the first 40")
    parser.set_defaults(action=duration)


def duration(options: argparse.Namespace) -> int:
    """Follow the routine, print, and run it if that is asked for.

    Returns:
        0, or 1 if a run took less than the least or more than the most, or did not return.

    Raises:
        UserError: options, firmware or a board that cannot be taken.
    """
    from emu85.board import fit, load_board
    from emu85.console.numbers import address, number
    from emu85.firmware import read_image
    from emu85.timing.duration.asked import follow
    from emu85.timing.duration.told import tell

    description = load_board(options.board).without_batteries()
    image = read_image(firmware_file(options.firmware, description), at=binary_at(options.at))
    image = with_symbols(image, options.symbols)
    start = address(
        options.routine, image.symbols, 0xFFFF, "an address, or a label of the firmware"
    )
    runs = 0
    if options.runs is not None:
        runs = number(options.runs, 10, 1, _MOST_RUNS, f"--runs with 1 to {_MOST_RUNS}")
    board = fit(description)
    asked, result = follow(
        options.routine, start, image, board, _limits(options.at_most, image.symbols)
    )
    print(tell(asked, result, every=options.all), end="")
    return _tried(asked, result, description, image, runs) if runs else _AS_TOLD


def _limits(written: list[str], symbols: Mapping[str, int]) -> dict[int, int]:
    from emu85.console.numbers import address, number

    found: dict[int, int] = {}
    for text in written:
        loop, equals, passes = text.partition("=")
        if not equals:
            raise UserError(f"--at-most {text!r} has no count", expected="LOOP=PASSES, as WAIT=20")
        head = address(loop, symbols, 0xFFFF, "an address, or a label of the firmware")
        found[head] = number(passes, 10, 1, _MOST_PASSES, f"passes, 1 to {_MOST_PASSES}")
    return found


def _tried(
    asked: Asked, result: Result, description: BoardDescription, image: Image, runs: int
) -> int:
    """Run it; whether all is as was told."""
    from emu85.board import fit
    from emu85.console.start import announce_compilation
    from emu85.machine import Machine
    from emu85.testing.failure import BoardFailure
    from emu85.timing.duration.trial import trials

    announce_compilation()
    machine = Machine(fit(description))
    machine.load(image)
    ways = result.ways
    most = None if ways is None or ways.most is None else ways.most.t
    print()
    try:
        measured = list(trials(machine, asked.name, asked.address, runs, most))
    except BoardFailure as failure:
        print(f"Measured: {failure}")
        return _NOT_AS_TOLD
    low, high = min(measured), max(measured)
    is_within = ways is not None and ways.least.t <= low and (most is None or high <= most)
    verdict = "within what is told" if is_within else "NOT WITHIN WHAT IS TOLD"
    print(f"Measured in {runs} runs: {low} to {high} T-states, {verdict}.")
    return _AS_TOLD if is_within else _NOT_AS_TOLD
