"""``emu85 profile``: the command's options, and what is done with them.

It stands outside :mod:`emu85.profile` so that the command line can read its options without
that package's imports.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.drive_options import add_drive_options, drive
from emu85.firmware_option import binary_at, firmware_file, with_symbols
from emu85.written_files import PRINTED, file_of, keep_apart

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.firmware import Image
    from emu85.firmware.listing import ListingRow
    from emu85.profile.lines import CountedLine
    from emu85.profile.report import Report

_DEFAULT = "1 s"
_TRACE = 250_000
"""Records that the run keeps at a time."""
_AS_EXPECTED, _NOT_AS_EXPECTED = 0, 1
"""Exit statuses: whether a rehearsal passed; a mistake in what is asked for gives 2."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    add("firmware", nargs="?", help=".hex, .bin or .asm; the board's own if left out")
    add("--board", required=True, help="a demo board's name, or a board file")
    add("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    add("--symbols", metavar="FILE", help="symbols to use instead of the image's own")
    add_drive_options(parser, _DEFAULT)
    add("--all", action="store_true", help="every routine and label, not only the first 20")
    add("--html", metavar="FILE", help="write a page with a plot and the listing")
    add("--listing", metavar="FILE", help="write the listing with what was executed; - prints it")
    add("--json", metavar="FILE", help="write the figures as JSON; - prints them instead")
    parser.set_defaults(action=profile)


def profile(options: argparse.Namespace) -> int:
    """Run, print, write what is asked for.

    Returns:
        0, or 1 if a rehearsal did not pass.

    Raises:
        UserError: options, firmware or a board that cannot be taken.
    """
    from emu85.board import load_board
    from emu85.profile.text import MOST, write_text

    board = load_board(options.board)
    file = firmware_file(options.firmware, board)
    _keep_apart(options, file)
    image, rows = _image(options, file)
    found, lines = _run(options, board, image, rows)
    _write(options, found, lines)
    if PRINTED not in (options.listing, options.json):
        print(write_text(found, None if options.all else MOST), end="")
    return _NOT_AS_EXPECTED if found.failures else _AS_EXPECTED


def _image(options: argparse.Namespace, file: Path) -> tuple[Image, Sequence[ListingRow]]:
    """The image, and the rows of its listing if it is assembled."""
    from emu85.firmware import assemble, read_image
    from emu85.firmware.files import read_text
    from emu85.firmware.reader import SOURCE_SUFFIXES

    rows: Sequence[ListingRow] = ()
    if file.suffix.casefold() in SOURCE_SUFFIXES and options.at is None:
        done = assemble(read_text(file), str(file))
        image, rows = done.image, done.rows
    else:
        image = read_image(file, at=binary_at(options.at))
    return with_symbols(image, options.symbols), rows


def _run(
    options: argparse.Namespace,
    board: BoardDescription,
    image: Image,
    rows: Sequence[ListingRow],
) -> tuple[Report, list[CountedLine]]:
    from emu85.board import fit
    from emu85.console.start import announce_compilation
    from emu85.machine import Machine
    from emu85.profile.lines import counted_code, counted_rows, coverage
    from emu85.profile.report import report
    from emu85.profile.watch import Watch

    move = drive(options, board, _DEFAULT)
    announce_compilation()
    machine = Machine(fit(board.without_batteries()), trace=_TRACE)
    machine.load(image)
    watch = Watch(machine)
    driven = move(machine)
    figures = watch.figures()
    counted = counted_rows(rows, figures.execution) if rows else None
    lines = list(counted or counted_code(image, figures.execution))
    return report(
        machine,
        figures,
        firmware=Path(image.source).name,
        about=driven.about,
        failures=driven.failures,
        covered=coverage(lines),
    ), lines


def _keep_apart(options: argparse.Namespace, firmware: Path) -> None:
    keep_apart(
        (
            ("the firmware", firmware),
            ("the symbol file", options.symbols),
            ("the rehearsal", options.rehearsal),
        ),
        (
            ("the page", options.html),
            ("the listing", file_of(options.listing)),
            ("the JSON file", file_of(options.json)),
        ),
    )


def _write(options: argparse.Namespace, found: Report, lines: Sequence[CountedLine]) -> None:
    from emu85.firmware import atomic_write
    from emu85.profile.data import write_json
    from emu85.profile.lines import write_lines
    from emu85.profile.page import write_page

    execution = found.figures.execution
    if options.json == PRINTED:
        print(write_json(found), end="")
    elif options.json:
        atomic_write(options.json, write_json(found))
    if options.html:
        atomic_write(options.html, write_page(found, lines))
    if options.listing == PRINTED:
        print(write_lines(found.firmware, lines, execution), end="")
    elif options.listing:
        atomic_write(options.listing, write_lines(found.firmware, lines, execution))
