"""What the trace tells of a program: what it executed, and where the time went."""

from emu85.profile.coverage import Execution
from emu85.profile.gathering import Gathering, Taker, longest_slice

__all__ = ["Execution", "Gathering", "Taker", "longest_slice"]
