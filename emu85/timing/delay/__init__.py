"""Delays: code that takes a wanted time, and how long code takes.

:func:`plan` finds loop counts and padding, :func:`answer` writes and runs what it found.
"""

from emu85.timing.delay.answer import Answer, answer, plan
from emu85.timing.delay.costs import NO_WAITS, Waits
from emu85.timing.delay.proof import prove
from emu85.timing.delay.solver import Plan, Use, solve
from emu85.timing.delay.source import write_delay

__all__ = [
    "NO_WAITS",
    "Answer",
    "Plan",
    "Use",
    "Waits",
    "answer",
    "plan",
    "prove",
    "solve",
    "write_delay",
]
