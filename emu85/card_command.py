"""``emu85 card``: the timing card of an instruction, or all of them as a page."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from emu85.errors import UserError

if TYPE_CHECKING:
    from emu85.timing.cards import Setting


def add_options(parser: argparse.ArgumentParser) -> None:
    """Put the options of the command into its parser."""
    add = parser.add_argument
    add(
        "name",
        nargs="*",
        help="an instruction such as 'MOV M,A', an opcode such as 77, or TRAP, 'RST 7.5', "
        "'INTR RST 5', 'INTR CALL', HALT, HOLD, RESET",
    )
    add("--crystal", metavar="FREQUENCY", help="such as '6.144 MHz', which is meant if left out")
    add("--waits", metavar="COUNT", help="wait states: a count, or by type: 'OF 1, MW 2'")
    add("--board", help="crystal, part and wait states of a demo board or board file")
    add("--part", help="the CPU part whose limits are told, such as 8085AH-2")
    add("--all", action="store_true", help="every card, with --html")
    add("--html", metavar="FILE", help="write a page")
    parser.set_defaults(action=card)


def card(options: argparse.Namespace) -> int:
    """Print a card, or write a page.

    Returns:
        0.

    Raises:
        UserError: what there is no card of, options that do not go together, or a file that
            cannot be written.
    """
    from emu85.console.start import announce_compilation
    from emu85.firmware.files import atomic_write
    from emu85.timing.bench import Bench
    from emu85.timing.card_text import write_card
    from emu85.timing.cards import make_card
    from emu85.timing.subjects import EVENT_NAMES, EXPECTED, subject_named

    name = " ".join(options.name)
    if options.all and name:
        raise UserError("one card and all of them at once", expected="a name, or --all")
    if options.all and not options.html:
        raise UserError("all the cards are a page", expected="--all --html FILE")
    if not options.all and not name:
        raise UserError("no instruction is named", expected=EXPECTED + ", ".join(EVENT_NAMES))
    subject = None if options.all else subject_named(name)
    setting = _setting(options)
    announce_compilation()
    bench = Bench()
    if options.html:
        from emu85.timing.card_page import write_page

        text = write_page([subject] if subject else None, setting, bench)
        atomic_write(options.html, text)
        print(f"{options.html}: {len(text.encode()) / 1024:.0f} Kbytes")
    elif subject:
        print(write_card(make_card(subject, setting, bench)), end="")
    return 0


def _setting(options: argparse.Namespace) -> Setting:
    from emu85.board import fit, load_board
    from emu85.board.schema import read_crystal
    from emu85.timing.ac_table import part_named
    from emu85.timing.cards import Setting
    from emu85.timing.situations import board_setting, waits_named

    setting = Setting()
    if options.board:
        if options.waits:
            raise UserError("the board has its own wait states", expected="--board or --waits")
        setting = board_setting(fit(load_board(options.board)))
    if options.waits:
        waits = waits_named(options.waits)
        setting = replace(setting, situation=replace(setting.situation, waits=waits))
    if options.crystal:
        setting = replace(setting, crystal=read_crystal(options.crystal))
    if options.part:
        setting = replace(setting, part=part_named(options.part))
    return setting
