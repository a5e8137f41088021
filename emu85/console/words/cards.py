"""Timing cards"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.registry import form

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.timing.subjects import Subject


@form("card", "the timing card of the instruction at the PC")
def card_here(session: Session) -> None:
    """With the registers as they stand now, the board's crystal and its wait states. Within
    an instruction it is the one under way. It is tried on a bare machine, so nothing happens
    to this one."""
    from emu85.timing.situations import subject_at

    _show(session, subject_at(session.machine, session.machine.registers.instruction_at))


@form("card INSTRUCTION", "the timing card of an instruction or an interrupt")
def card_named(session: Session, instruction: Subject) -> None:
    """Such as card MOV M,A, card LXI H,2050, card 77 (an opcode), card RST 7.5, card INTR CALL,
    card HOLD. An instruction is told as if it stood at the PC."""
    _show(session, instruction)


def _show(session: Session, subject: Subject) -> None:
    from emu85.timing.bench import Bench
    from emu85.timing.card_text import write_card
    from emu85.timing.cards import make_card
    from emu85.timing.situations import machine_setting

    card = make_card(subject, machine_setting(session.machine), Bench())
    for line in write_card(card).splitlines():
        session.screen.show(line)
