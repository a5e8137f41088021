"""How long a routine takes, least and most over all its paths.

Paths are followed on the image as it is: both ways of each condition that is not known, called
routines, loops as often as they go round.  What is known of registers and flags on the way
comes from :mod:`emu85.burn.execute`, so a count that was loaded before its loop is understood.
Nothing is run.
"""

from emu85.timing.duration.analysis import Analysis, Loop, Result

__all__ = ["Analysis", "Loop", "Result"]
