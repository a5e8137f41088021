"""``emu85 burn-check``: the command's options, and what is done with them.

It stands outside :mod:`emu85.burn` so that the command line can read its options without
that package's imports.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from emu85.drive_options import rehearsed, run_seconds
from emu85.errors import UserError, nearest
from emu85.firmware_option import binary_at, firmware_file
from emu85.written_files import PRINTED, file_of, keep_apart

if TYPE_CHECKING:
    from emu85.board import BoardDescription
    from emu85.board.parts import Part
    from emu85.burn import Drive, Hints, Limits, Report, Stored, Study, Subject, Wanted
    from emu85.burn.sums import Sum
    from emu85.firmware import Image

FIT, NOT_FIT = 0, 1
"""Exit statuses; a mistake in what is asked for gives 2, as everywhere."""
_PLAIN_RUN = "1 s"
_MOST_WORDS = 256
"""Addresses in one table."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    add("image", nargs="?", help=".hex, .bin or .asm; the board's own firmware if left out")
    add("--board", help="a demo board's name, or a board file")
    add(
        "--chip",
        metavar="PART",
        action="append",
        default=[],
        help="the EPROM to burn, such as 27128; NAME=PART for one of several chips",
    )
    add("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    add("--fill", metavar="BYTE", default="FF", help="byte where the image has none (default FF)")
    add("--halves", action="store_true", help="even and odd bytes go into two chips")
    add("--symbols", metavar="FILE", help="symbols to use instead of the image's own")
    _add_hints(parser.add_argument_group("what cannot be seen in the code"))
    _add_run(parser.add_argument_group("the run"))
    _add_outcome(parser.add_argument_group("the outcome"))
    parser.set_defaults(action=burn_check)


def _add_hints(group: argparse._ArgumentGroup) -> None:
    add = group.add_argument
    add("--entry", metavar="NAME", action="append", default=[], help="code begins here as well")
    add(
        "--table",
        metavar="NAME,COUNT[,STEP]",
        action="append",
        default=[],
        help="so many addresses of code stand here, STEP bytes apart (default 2)",
    )
    add(
        "--no-return",
        metavar="NAME",
        action="append",
        default=[],
        help="this routine does not come back to its caller",
    )
    add(
        "--returns",
        metavar="NAME",
        action="append",
        default=[],
        help="this routine comes back right after its CALL",
    )


def _add_run(group: argparse._ArgumentGroup) -> None:
    add = group.add_argument
    add(
        "--for",
        dest="time",
        metavar="TIME",
        help="board time such as '20 ms', or a count of T-states; 0 for no run (default 1 s)",
    )
    add("--rehearsal", metavar="FILE", help="perform this rehearsal instead of a plain run")
    add("--coverage", metavar="PERCENT", help="of the code's bytes to be executed at least")
    add("--longest-wait", metavar="T", help="T-states that an interrupt may wait")
    add("--stack-left", metavar="BYTES", help="to be left of each stack at least")


def _add_outcome(group: argparse._ArgumentGroup) -> None:
    add = group.add_argument
    add(
        "--stored",
        metavar="SUM@ADDRESS",
        action="append",
        default=[],
        help="the image holds this sum there, low byte first, of the chip's bytes before it",
    )
    add(
        "--expect",
        metavar="[CHIP:]SUM=HEX",
        action="append",
        default=[],
        help="the sum over all bytes of the chips, or of the one named",
    )
    add(
        "--accept",
        metavar="CHECK",
        action="append",
        default=[],
        help="what this check finds is meant",
    )
    add("--strict", action="store_true", help="exit status 1 too where a check wants a look")
    add("--checks", action="store_true", help="list the checks and the sums, and end")
    add("--json", metavar="FILE", help="write the report as JSON, or print it instead with -")
    add("--html", metavar="FILE", help="write the report as a page to be read or printed")
    add("--write-files", metavar="FOLDER", help="write the files to burn, and label lines")
    add("--name", help="of the firmware, on labels (default: the image's file)")
    add("--date", default="", help="a date for the labels, as written (default: none)")


def burn_check(options: argparse.Namespace) -> int:
    """Examine, print, write what is asked for.

    Returns:
        0 if the image is fit to burn, else 1; also 1 if that is asked for where a check wants
        a look.

    Raises:
        UserError: options, image or board that cannot be taken.
    """
    from emu85.burn import report, study, write_json, write_text

    if options.checks:
        print(_listing())
        return FIT
    if options.board is None:
        raise UserError("no board is named", expected="--board and a board's name or file")
    wanted = _wanted(options)
    _refuse_same_file(options)
    subject = _subject(options)
    _find_chips(wanted, subject.board)
    done = study(subject, wanted)
    found = report(done)
    _write(options, found, done)
    print(write_json(found) if options.json == PRINTED else write_text(found), end="")
    is_doubtful = options.strict and found.wants_a_look
    return FIT if found.is_fit and not is_doubtful else NOT_FIT


def _find_chips(wanted: Wanted, board: BoardDescription) -> None:
    names = [use.name for use in board.memory if use.part.kind == "rom"]
    halves = [f"{name} {half}" for name in names for half in ("even", "odd")]
    summed = [key.rpartition(":")[0] for key in wanted.expected if ":" in key]
    asked = [*wanted.parts, *(name for name in summed if not wanted.halves or name not in halves)]
    for name in asked:
        if name not in names:
            raise UserError(
                f"the board has no EPROM {name!r}",
                expected=f"one of {', '.join(names)}" if names else "a board with an EPROM",
                nearest=nearest(name, names),
            )


def _listing() -> str:
    from emu85.burn.checks import CHECKS
    from emu85.burn.sums import SUMS

    lines = ["Checks", *(f"  {one.name:<17} {one.about}" for one in CHECKS)]
    lines += ["", "Sums", *(f"  {one.word:<19} {one.name}" for one in SUMS.values())]
    return "\n".join(lines)


def _subject(options: argparse.Namespace) -> Subject:
    from emu85.board import load_board
    from emu85.burn import Subject
    from emu85.firmware import read_image, read_names
    from emu85.firmware.files import read_text

    board = load_board(options.board)
    file = firmware_file(options.image, board)
    image = read_image(file, at=binary_at(options.at))
    if options.image is None or file != Path(options.image):  # one that comes with the program
        image = replace(image, source=file.name)
    if not image.segments:
        raise UserError(f"{image.source} holds no bytes")
    symbols, equated = dict(image.symbols), image.equated
    if options.symbols:
        names = read_names(read_text(Path(options.symbols)), options.symbols)
        symbols, equated = names.values, names.equated
    return Subject(
        image, board, symbols, equated, _hints(options, image, symbols), _drive(options, board)
    )


def _hints(options: argparse.Namespace, image: Image, symbols: Mapping[str, int]) -> Hints:
    from emu85.burn import Hints

    entries = [_place(text, symbols) for text in options.entry]
    for text in options.table:
        entries += _table(text, image, symbols)
    return Hints(
        tuple(entries),
        frozenset(_place(text, symbols) for text in options.no_return),
        frozenset(_place(text, symbols) for text in options.returns),
    )


def _table(text: str, image: Image, symbols: Mapping[str, int]) -> Iterable[int]:
    parts = [part.strip() for part in text.split(",")]
    if not 2 <= len(parts) <= 3:
        raise UserError(f"{text!r} is no table", expected="NAME,COUNT or NAME,COUNT,STEP")
    begin = _place(parts[0], symbols)
    count = _number(parts[1], 10, _MOST_WORDS, "a count")
    step = _number(parts[2], 10, _MOST_WORDS, "bytes from one to the next", 1) if parts[2:] else 2
    for number in range(count):
        word = image.bytes_at(begin + number * step & 0xFFFF, 2)
        yield int.from_bytes(word, "little")


def _place(text: str, symbols: Mapping[str, int]) -> int:
    from emu85.console.numbers import address

    return address(text, symbols, 0xFFFF, "a symbol or an address, 0000 to FFFF")


def _number(text: str, base: int, high: int, what: str, low: int = 0) -> int:
    from emu85.console.numbers import number

    shown = f"{low} to {high:X} hexadecimal" if base == 16 else f"{low} to {high}"
    return number(text, base, low, high, f"{what}, {shown}")


def _drive(options: argparse.Namespace, board: BoardDescription) -> Drive | None:
    from emu85.burn import PlainRun

    if options.rehearsal is not None:
        return rehearsed(options)
    text = _PLAIN_RUN if options.time is None else options.time
    seconds = run_seconds(text, board, least=0)
    return PlainRun(seconds) if seconds else None


def _wanted(options: argparse.Namespace) -> Wanted:
    from emu85.burn import Wanted
    from emu85.burn.checks import CHECKS

    part, parts = _parts(options.chip)
    if options.halves and part is None:
        raise UserError("halves of what chip is not told", expected="--chip with a part number")
    known = [check.name for check in CHECKS]
    for name in options.accept:
        if name not in known:
            raise UserError(
                f"there is no check {name!r}",
                expected="a name that --checks lists",
                nearest=nearest(name, known),
            )
    return Wanted(
        part=part,
        parts=parts,
        halves=options.halves,
        fill=_number(options.fill, 16, 0xFF, "a byte"),
        stored=tuple(_stored(text) for text in options.stored),
        expected=dict(_expected(text) for text in options.expect),
        limits=_limits(options),
        accepted=frozenset(options.accept),
    )


def _parts(written: Iterable[str]) -> tuple[Part | None, dict[str, Part]]:
    """The EPROM for all chips, if there is one, and those for single ones."""
    from emu85.burn.chips import part_named

    for_all: Part | None = None
    named: dict[str, Part] = {}
    for text in written:
        name, sign, number = text.rpartition("=")
        part = part_named(number)
        if sign:
            named[name.strip()] = part
        elif for_all is None:
            for_all = part
        else:
            raise UserError(f"a second EPROM, {text}", expected="NAME=PART for one of several")
    return for_all, named


def _limits(options: argparse.Namespace) -> Limits:
    from emu85.burn import Limits

    return Limits(
        None if options.coverage is None else _percent(options.coverage),
        _count(options.longest_wait, "T-states"),
        _count(options.stack_left, "bytes"),
    )


def _count(text: str | None, what: str) -> int | None:
    return None if text is None else _number(text, 10, 10**12, f"a count of {what}")


def _percent(text: str) -> Fraction:
    try:
        value = Fraction(text.removesuffix("%").strip())
    except (ValueError, ZeroDivisionError):
        value = Fraction(-1)
    if not 0 <= value <= 100:
        raise UserError(f"{text!r} is no share", expected="percent, 0 to 100")
    return value


def _stored(text: str) -> Stored:
    from emu85.burn import Stored
    from emu85.console.numbers import plain_address

    word, at, address = text.partition("@")
    if not at:
        raise UserError(f"{text!r} is no place of a sum", expected="such as sum-16@1FFE")
    return Stored(_sum(word), plain_address(address))


def _expected(text: str) -> tuple[str, int]:
    key, sign, value = text.rpartition("=")
    if not sign:
        raise UserError(f"{text!r} is no sum", expected="such as crc-32=1A2B3C4D")
    chip, colon, word = key.rpartition(":")
    one = _sum(word)
    try:
        number = int(value, 16)
    except ValueError:
        number = -1
    if not 0 <= number < 1 << 8 * one.size:
        raise UserError(f"{value!r} is no {one.name}", expected=f"{2 * one.size} hex digits")
    return f"{chip}{colon}{one.word}", number


def _sum(word: str) -> Sum:
    from emu85.burn.sums import SUMS

    if word not in SUMS:
        raise UserError(
            f"there is no sum {word!r}",
            expected=f"one of {', '.join(SUMS)}",
            nearest=nearest(word, SUMS),
        )
    return SUMS[word]


def _refuse_same_file(options: argparse.Namespace) -> None:
    keep_apart(
        (
            ("the image", options.image),
            ("the symbol file", options.symbols),
            ("the rehearsal", options.rehearsal),
        ),
        (("the JSON report", file_of(options.json)), ("the HTML report", options.html)),
    )


def _write(options: argparse.Namespace, found: Report, done: Study) -> None:
    from emu85.burn import write_files, write_json, write_page
    from emu85.firmware import atomic_write

    if file := file_of(options.json):
        atomic_write(file, write_json(found))
    if options.html:
        atomic_write(options.html, write_page(found))
    if options.write_files:
        name = options.name or Path(done.ground.image.source).stem
        write_files(Path(options.write_files), name, done.burnt, options.date)
        if not found.is_fit:
            print("note: the files are of an image that is not fit to burn", file=sys.stderr)
