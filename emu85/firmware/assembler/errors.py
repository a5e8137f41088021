"""How several mistakes of one assembly are told together."""

from __future__ import annotations

from emu85.errors import UserError, UserErrors


class AssemblyErrors(UserErrors):
    """All mistakes found in an assembly, in the order of the source."""


class Hopeless(UserError):
    """A limit was passed; going on would only repeat it."""
