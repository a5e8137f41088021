"""The lamp panel"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.panel.needs import check_terminal
from emu85.console.registry import form

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("panel", "every line of the bus a lamp, full screen")
def panel(session: Session) -> None:
    """While the board runs, a lamp is as bright as the share of time for which its line was
    high; while it is held or paced, the lamps show the machine cycle as it stands in T3. A
    stroke before a name, /RD, says that the line is active when it is low. The keys stand in
    the last line, and can be clicked. 'q' comes back here."""
    check_terminal()
    from emu85.console.panel.application import show_panel

    show_panel(session)
