"""Delays: code that takes a wanted time, and how long code takes.

:func:`solve` finds loop counts and padding, :func:`prove` runs what it found.
"""

from emu85.timing.delay.costs import NO_WAITS, Waits
from emu85.timing.delay.proof import prove
from emu85.timing.delay.solver import Plan, Use, solve
from emu85.timing.delay.source import write_delay

__all__ = ["NO_WAITS", "Plan", "Use", "Waits", "prove", "solve", "write_delay"]
