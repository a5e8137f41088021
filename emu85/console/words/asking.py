"""Help and the end"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.registry import form, group_of

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("help", "all console words")
def help_all(session: Session) -> None:
    group = ""
    for one in session.forms:
        if group_of(one) != group:
            group = group_of(one)
            session.screen.show(group)
        session.screen.show(f"  {one.usage:<26} {one.summary}")
    session.screen.show(
        "Addresses, ports and bytes are hexadecimal, counts decimal; a suffix H, Q, B or\n"
        "D settles it. A symbol stands wherever an address does, also as NAME+12."
    )


@form("help WORD", "one console word in full")
def help_word(session: Session, word: str) -> None:
    for one in (one for one in session.forms if one.word == word):
        session.screen.show(f"{one.usage:<26} {one.summary}")
        if one.detail:
            session.screen.show("\n".join(f"    {line}" for line in one.detail.splitlines()))


@form("quit", "end the session")
def quit_session(session: Session) -> None:
    """At an empty prompt Ctrl-D does the same."""
    session.is_over = True
