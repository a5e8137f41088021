"""How several mistakes of one assembly are told together."""

from __future__ import annotations

from emu85.errors import Place, UserError

_SHOWN = 20


class AssemblyErrors(UserError):
    """All mistakes found in an assembly, in the order of the source.

    Attributes:
        errors: at least one, each with its own place and source line.
    """

    def __init__(self, errors: tuple[UserError, ...]) -> None:
        first = errors[0]
        super().__init__(
            first.message,
            first.place,
            expected=first.expected,
            nearest=first.nearest,
            source=first.source,
        )
        self.errors = errors

    def at(self, place: Place, source: str = "") -> UserError:
        """Itself: every mistake in it already has its place."""
        return self

    def __str__(self) -> str:
        told = [str(error) for error in self.errors[:_SHOWN]]
        more = len(self.errors) - _SHOWN
        if more > 0:
            told.append(f"... and {more} more")
        return "\n".join(told)


class Hopeless(UserError):
    """A limit was passed; going on would only repeat it."""
