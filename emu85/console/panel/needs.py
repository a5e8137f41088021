"""What the lamp panel needs of the terminal."""

from __future__ import annotations

import os
import sys

from emu85.errors import UserError

_CANNOT = ("dumb", "unknown")


def check_terminal() -> None:
    """See that there is a terminal that can be drawn on.

    Raises:
        UserError: there is none, or the cursor of it cannot be moved.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UserError("the lamp panel needs a terminal")
    kind = os.environ.get("TERM", "")
    if kind.casefold() in _CANNOT:
        raise UserError(
            f"the lamp panel needs a terminal with a cursor that can be moved, and TERM is {kind}"
        )
