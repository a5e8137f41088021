"""The command line: ``emu85 run``, ``board``, ``isa``, ``assemble`` and the rest.

Each command imports what it needs when it is called, so that those that need no
machine start at once.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from emu85.errors import UserError, nearest
from emu85.firmware_option import binary_at
from emu85.streams import lead_nowhere
from emu85.written_files import PRINTED, keep_apart

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

    from emu85.console.start import Start
    from emu85.firmware import Image

_FAILED = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is 0, or 2 after a mistake of the user.

    Raises:
        SystemExit: a signal ended it; the status is 128 and its number.
    """
    _open_closed_streams()
    _use_utf8()
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        return _do(words)
    except OSError as error:
        # What the commands read and write themselves is told by UserError.
        return _output_lost(error)
    except KeyboardInterrupt:
        return 130


def _do(words: list[str]) -> int:
    try:
        options = _read(words)
        action: Callable[[argparse.Namespace], int] = options.action
        return action(options)
    except UserError as error:
        _complain(str(error))
        return _FAILED
    finally:
        # Here and not at the interpreter's end, so that a failure is told as ours; what is
        # raised meanwhile may be the end that follows a help text.
        sys.stdout.flush()


def _complain(text: str) -> None:
    try:
        print(f"emu85: {text}", file=sys.stderr, flush=True)
    except OSError:
        lead_nowhere(sys.stderr)  # the exit status alone tells


def _output_lost(error: OSError) -> int:
    """End quietly if the reader of our output has gone; else say why it cannot be written."""
    lead_nowhere(sys.stdout)
    if error.errno == errno.EPIPE:
        return 0
    _complain(f"what is printed cannot be written: {error.strerror or error}")
    return _FAILED


def _open_closed_streams() -> None:
    """Have streams that whoever started us has closed lead nowhere.

    Else a file opened later would get a number that belongs to one of them.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def _use_utf8() -> None:
    """Have output that the terminal cannot show replaced instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]


class _Parser(argparse.ArgumentParser):
    """Mistakes in the arguments are told like any other."""

    _is_intermixing = False

    def error(self, message: str) -> NoReturn:
        raise UserError(f"{message} (see '{self.prog} --help')")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As the base class, but options may stand between the other arguments of a command."""
        if self._subparsers is not None or self._is_intermixing:
            return super().parse_known_args(args, namespace)
        self._is_intermixing = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._is_intermixing = False

    def print_help(self, file: SupportsWrite[str] | None = None) -> None:
        """As the base class, but output that is lost is no secret."""
        print(self.format_help(), end="", file=file)


def _read(words: list[str]) -> argparse.Namespace:
    parser = _Parser(prog="emu85", description="A cycle-accurate 8085 single-board emulator.")
    parser.add_argument("--version", action=_ShowVersion)
    commands = parser.add_subparsers(metavar="COMMAND", title="commands")
    for name, (add, summary) in _COMMANDS.items():
        command = commands.add_parser(name, help=summary, description=summary)
        if name in words:
            add(command)
    first = words[0] if words else "--help"
    if not first.startswith("-") and first not in _COMMANDS:
        raise UserError(
            f"there is no command {first!r}",
            expected=f"one of {', '.join(_COMMANDS)}",
            nearest=nearest(first, _COMMANDS),
        )
    return parser.parse_args(words or ["--help"])


class _ShowVersion(argparse.Action):
    """Looks the version up only when it is asked for: that takes longer than all the rest."""

    def __init__(self, option_strings: Sequence[str], dest: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help="print the version")

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        print(f"emu85 {_version()}")
        parser.exit()


def _version() -> str:
    from importlib import metadata

    try:
        return metadata.version("emu85")
    except metadata.PackageNotFoundError:
        return "(not installed)"


def _range(text: str) -> tuple[int, int]:
    from emu85.console.numbers import plain_address

    low, hyphen, high = text.partition("-")
    if not hyphen or plain_address(high) < plain_address(low):
        raise UserError(f"{text!r} is no range", expected="two addresses such as 0000-07FF")
    return plain_address(low), plain_address(high)


# --- run ----------------------------------------------------------------------


def _add_run(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "firmware", nargs="?", help=".hex, .bin or .asm; the board's own if left out"
    )
    parser.add_argument("--board", required=True, help="a demo board's name, or a board file")
    parser.add_argument("--at", metavar="ADDRESS", help="where a .bin goes, hexadecimal")
    parser.add_argument("--do", metavar="FILE", help="console lines to execute; then the end")
    parser.add_argument("--stay", action="store_true", help="with --do: go on to the prompt")
    parser.add_argument("--held", action="store_true", help="begin held, at the prompt")
    parser.add_argument("--panel", action="store_true", help="begin at the lamp panel, held")
    parser.add_argument(
        "--trace",
        metavar="N",
        default="1000000",
        help="machine cycles to keep (default %(default)s)",
    )
    parser.add_argument(
        "--speed",
        metavar="S",
        help="off, real, or a factor of real time (default: real at a terminal, else off)",
    )
    parser.add_argument(
        "--join",
        metavar="'END WAY'",
        action="append",
        default=[],
        help="join a serial end: 'usart pty', 'serial tcp 4000', 'usart files IN OUT'",
    )
    parser.set_defaults(action=_run)


def _run(options: argparse.Namespace) -> int:
    from emu85.console.start import all_kept, run

    with all_kept():
        start = _start(options)
    return run(start)


def _start(options: argparse.Namespace) -> Start:
    from emu85.board.shelf import named_file
    from emu85.console.start import Start

    return Start(
        board=options.board,
        firmware=None if options.firmware is None else named_file(options.firmware),
        at=binary_at(options.at),
        script=None if options.do is None else Path(options.do),
        stay=options.stay,
        held=options.held,
        trace=_count(options.trace, "--trace", 1, 100_000_000),
        speed=options.speed,
        joins=tuple(options.join),
        panel=options.panel,
    )


def _count(text: str, what: str, low: int, high: int) -> int:
    from emu85.console.numbers import number

    return number(text, 10, low, high, f"{what} with a decimal count, {low} to {high}")


# --- boards ---------------------------------------------------------------------


def _add_board(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="?", help="a demo board's name, or a board file")
    parser.add_argument("--schema", action="store_true", help="what may stand in a board file")
    parser.set_defaults(action=_board)


def _board(options: argparse.Namespace) -> int:
    from emu85.board import describe, fit, load_board, schema_text

    if options.schema:
        print(schema_text().rstrip())
        return 0
    if options.name is None:
        raise UserError("no board is named", expected="a board's name or file, or --schema")
    print(describe(fit(load_board(options.name))).rstrip())
    return 0


def _add_boards(parser: argparse.ArgumentParser) -> None:
    parser.set_defaults(action=_boards)


def _boards(options: argparse.Namespace) -> int:
    from emu85.board import load_board
    from emu85.board.shelf import board_names

    for name in board_names():
        print(f"{name:<12} {load_board(name).about}".rstrip())
    return 0


def _add_devices(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("word", nargs="?", help="a device word, such as 8251A")
    parser.add_argument("--board", help="the devices of a board, as Markdown")
    parser.set_defaults(action=_devices)


def _devices(options: argparse.Namespace) -> int:
    from emu85.board import handbook, load_board

    if options.word and options.board:
        raise UserError("a device and a board at once", expected="one of the two")
    if options.board:
        text = handbook.board_page(load_board(options.board))
    elif options.word:
        text = handbook.page(handbook.device_named(options.word))
    else:
        text = handbook.listing()
    print(text.rstrip())
    return 0


# --- rehearsals -------------------------------------------------------------------


def _add_rehearse(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", help="rehearsals, and folders of them")
    parser.add_argument("--firmware", metavar="FILE", help="burn this instead of what they name")
    parser.add_argument("--junit", metavar="FILE", help="write the verdicts as JUnit XML")
    parser.add_argument("--lines", action="store_true", help="what may stand in a rehearsal")
    parser.set_defaults(action=_rehearse)


def _rehearse(options: argparse.Namespace) -> int:
    if options.lines:
        from emu85.rehearsal.command import lines_text

        print(lines_text())
        return 0
    if not options.files:
        raise UserError("no rehearsal is named", expected="files, or folders of them")
    from emu85.console.start import announce_compilation

    announce_compilation()
    from emu85.rehearsal.command import rehearse_all

    return rehearse_all(options.files, firmware=options.firmware, junit=options.junit)


# --- instruction set --------------------------------------------------------------


def _add_isa(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "mnemonic", nargs="?", help="a mnemonic such as MOV, or an opcode such as 7E"
    )
    parser.set_defaults(action=_isa)


def _isa(options: argparse.Namespace) -> int:
    from emu85.isa import reference

    print(reference.card(options.mnemonic) if options.mnemonic else reference.summary())
    return 0


# --- firmware files ---------------------------------------------------------------


def _add_assemble(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", help="assembly source")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help=".hex or .bin; SOURCE.hex if left out"
    )
    parser.add_argument("--listing", metavar="FILE", help="write a listing; - prints it")
    parser.add_argument("--symbols", metavar="FILE", help="write a symbol file; - prints it")
    parser.add_argument(
        "--include", metavar="FOLDER", action="append", default=[], help="where INCLUDE looks too"
    )
    parser.set_defaults(action=_assemble)


def _assemble(options: argparse.Namespace) -> int:
    from emu85.board.shelf import named_file
    from emu85.firmware import assemble, atomic_write, write_symbols
    from emu85.firmware.files import read_text

    source = named_file(options.source)
    done = assemble(read_text(source), str(source), include_dirs=options.include)
    output = Path(options.output or Path(options.source).with_suffix(".hex"))
    sources = {source, *map(Path, {row.source.file for row in done.rows})}
    keep_apart(
        [("a source", path) for path in sources],
        [
            ("the output", output),
            ("the listing", options.listing),
            ("the symbol file", options.symbols),
        ],
    )
    about = _write_image(done.image, output, 0xFF)
    texts = {
        options.listing: done.listing,
        options.symbols: write_symbols(done.image.symbols, done.image.equated),
    }
    for file, text in texts.items():
        if file == PRINTED:
            print(text, end="")
        elif file:
            atomic_write(file, text)
    print(about, file=sys.stderr if PRINTED in texts else sys.stdout)
    return 0


def _write_image(image: Image, path: Path, fill: int) -> str:
    """Write an image in the format that the suffix tells; what was written, in one line."""
    from emu85.firmware import atomic_write, write_binary, write_hex
    from emu85.firmware.reader import BINARY_SUFFIXES, HEX_SUFFIXES
    from emu85.wording import counted

    if not image.segments:
        raise UserError(f"{image.source or 'the image'} holds no bytes to write")
    suffix = path.suffix.casefold()
    if suffix in HEX_SUFFIXES:
        atomic_write(path, write_hex(image))
    elif suffix in BINARY_SUFFIXES:
        atomic_write(path, write_binary(image, fill))
    else:
        raise UserError(
            f"{path.name!r} does not say which format to write",
            expected=f"a name that ends in {', '.join((*HEX_SUFFIXES, *BINARY_SUFFIXES))}",
        )
    low, high = image.span
    return f"{path}: {counted(image.size, 'byte')}, {low:04X}-{high:04X}"


def _add_disassemble(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", help=".hex or .bin")
    parser.add_argument("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    parser.add_argument("--range", metavar="FROM-TO", help="addresses to disassemble")
    parser.add_argument("--symbols", metavar="FILE", help="symbols to use")
    parser.set_defaults(action=_disassemble)


def _disassemble(options: argparse.Namespace) -> int:
    from emu85.firmware import disassemble_range, read_names, write_source
    from emu85.firmware.files import read_text

    image = _image(options)
    symbols, equated = dict(image.symbols), image.equated
    if options.symbols:
        names = read_names(read_text(Path(options.symbols)), options.symbols)
        symbols, equated = symbols | names.values, equated - set(names.values) | names.equated
    low, high = (0, 0xFFFF) if options.range is None else _range(options.range)
    lines = [
        line
        for segment in image.segments
        for line in disassemble_range(
            lambda address: image.bytes_at(address, 1)[0],
            max(low, segment.start),
            min(high + 1, segment.end),
            symbols=symbols,
            equated=equated,
        )
    ]
    if not lines:
        raise UserError("the image has no bytes in that range", expected="a range it covers")
    print(write_source(lines, symbols).rstrip())
    return 0


def _image(options: argparse.Namespace) -> Image:
    from emu85.board.shelf import named_file
    from emu85.firmware import read_image

    return read_image(named_file(options.image), at=binary_at(options.at))


def _add_convert(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("image", help=".hex, .bin or .asm")
    parser.add_argument("output", help=".hex or .bin")
    parser.add_argument("--at", metavar="ADDRESS", help="where a .bin stands, hexadecimal")
    parser.add_argument(
        "--fill", metavar="BYTE", default="FF", help="byte between segments of a .bin (default FF)"
    )
    parser.set_defaults(action=_convert)


def _convert(options: argparse.Namespace) -> int:
    from emu85.console.numbers import number

    fill = number(options.fill, 16, 0, 0xFF, "a byte, 00 to FF")
    print(_write_image(_image(options), Path(options.output), fill))
    return 0


# --- the commands -----------------------------------------------------------------


def _of(module: str) -> Callable[[argparse.ArgumentParser], None]:
    """What puts in the options of a command that has a module of its own."""

    def add(parser: argparse.ArgumentParser) -> None:
        importlib.import_module(f"emu85.{module}").add_options(parser)

    return add


_COMMANDS: dict[str, tuple[Callable[[argparse.ArgumentParser], None], str]] = {
    "run": (_add_run, "run firmware on a board, with the console"),
    "board": (_add_board, "show a board's memory and port map, or what a board file may hold"),
    "boards": (_add_boards, "list the demo boards"),
    "devices": (_add_devices, "list the devices, or print all about one: what is modelled"),
    "rehearse": (_add_rehearse, "perform rehearsals: console lines, and what should come of them"),
    "isa": (_add_isa, "print the instruction set, or all about one mnemonic or opcode"),
    "assemble": (_add_assemble, "assemble source to HEX or binary"),
    "disassemble": (_add_disassemble, "turn an image back into source"),
    "burn-check": (
        _of("burn_check"),
        "examine an image against its EPROM and board before burning",
    ),
    "profile": (
        _of("profile_command"),
        "run firmware and say where its time goes: routines, ports, lines",
    ),
    "wave": (_of("wave_command"), "show what stands on the pins: as text, as SVG, as VCD"),
    "lesson": (
        _of("lesson_command"),
        "exercises on machine cycles and T-states, judged by the machine",
    ),
    "card": (
        _of("card_command"),
        "the timing card of an instruction: what each of its T-states does",
    ),
    "budget": (
        _of("budget_command"),
        "what memory and ports leave of the CPU's time at a crystal, in ns",
    ),
    "delay": (
        _of("delay_command"),
        "write code that takes a wanted time, and prove it by running it",
    ),
    "duration": (
        _of("duration_command"),
        "say how long a routine takes, least and most over its paths",
    ),
    "convert": (_add_convert, "convert an image between HEX and binary"),
}
