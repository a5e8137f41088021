"""Stops: conditions that hold the machine, their language, and their tables for the core."""

from emu85.stops.condition import ANY, Condition, Step
from emu85.stops.language import next_words, parse
from emu85.stops.match import find, match, newest
from emu85.stops.stopset import Progress, Stop, StopSet

__all__ = [
    "ANY",
    "Condition",
    "Progress",
    "Step",
    "Stop",
    "StopSet",
    "find",
    "match",
    "newest",
    "next_words",
    "parse",
]
