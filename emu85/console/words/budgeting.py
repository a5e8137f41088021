"""Time for memory and ports"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.grammar import unfit
from emu85.console.registry import form

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.timing.budget import Budget


@form("budget", "ns left for memory and ports at this crystal")
def whole_budget(session: Session) -> None:
    """Limits of the CPU part at the board's crystal, less the delays and times that the board
    file states. 'emu85 budget' supposes other parts and crystals."""
    from emu85.timing.budget_text import write_text

    _show(session, write_text(_budget(session)))


@form("budget CHIP", "its sums for one chip or device, line by line")
def budget_of(session: Session, chip: str) -> None:
    """'budget board' has the sums of the latch and of the wait generator."""
    from emu85.timing.budget_text import explain

    with unfit("chip"):
        text = explain(_budget(session), chip)
    _show(session, text)


def _budget(session: Session) -> Budget:
    from emu85.timing.budget import budget

    return budget(session.machine.board.description)


def _show(session: Session, text: str) -> None:
    for line in text.splitlines():
        session.screen.show(line)
