"""What a board notices on its serial wires, in the words of its findings.

A break that the board is sent is the user's doing, and no finding; one that the board
sends is, since bits that are far too long look the same.
"""

from __future__ import annotations

from emu85.board.baud_check import TOLERANCE

AT_TERMINAL = {
    "framing": "framing error in a character from the board",
    "parity": "parity error in a character from the board",
    "break": "break from the board",
}
"""By ``Arrival.fault``, noticed by the far end."""
AT_CHIP = {
    "framing": "framing error in a character to the board",
    "parity": "parity error in a character to the board",
}
"""By ``Arrival.fault``, noticed by a chip."""
OVERRUN = "overrun: characters to the board were not read in time, and one was lost"
BITS_OFF = f"bits from the board more than {float(TOLERANCE):.0%} off"
