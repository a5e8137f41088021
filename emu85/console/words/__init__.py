"""The console words, one file a group."""

from emu85.console import registry
from emu85.console.words import (
    asking,
    budgeting,
    cards,
    changing,
    delaying,
    files,
    going_back,
    joining,
    looking,
    moving,
    panelling,
    rehearsing,
    spending,
    stopping,
    talking,
    waving,
)

_ORDER = (
    moving,
    panelling,
    going_back,
    stopping,
    looking,
    waving,
    spending,
    budgeting,
    cards,
    delaying,
    changing,
    talking,
    joining,
    rehearsing,
    files,
    asking,
)

FORMS = [
    form for group in _ORDER for form in registry.FORMS if form.action.__module__ == group.__name__
]
"""All forms, in the order in which help shows them."""

__all__ = ["FORMS"]
