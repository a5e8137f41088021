"""The symbols of one pass."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from emu85.errors import Place, UserError, nearest
from emu85.firmware.assembler.words import RESERVED
from emu85.firmware.symbols import Symbol, SymbolKind, is_symbol_name


class SymbolTable:
    """Names met so far in this pass, over those that the pass before found.

    Names are compared without regard to case.

    Args:
        earlier: symbols that the pass before found.
        outside: values of names that the source may use without defining them.
    """

    def __init__(
        self, earlier: Iterable[Symbol] = (), outside: Mapping[str, int] | None = None
    ) -> None:
        self._found: dict[str, Symbol] = {}
        self._earlier = {symbol.name.upper(): symbol for symbol in earlier}
        self._outside = {name.upper(): (name, at) for name, at in (outside or {}).items()}

    @property
    def symbols(self) -> tuple[Symbol, ...]:
        """Those of this pass, in order of definition."""
        return tuple(self._found.values())

    def holds(self, names: Iterable[str]) -> bool:
        """Whether this pass has met all these names, or they come from outside."""
        return all(name.upper() in self._found or name.upper() in self._outside for name in names)

    def known(self, name: str, column: int) -> int:
        """The signed value of a name that must be defined above, or outside.

        Raises:
            UserError: it is not.
        """
        symbol = self._found.get(name.upper())
        return self._signed(symbol, name, column, "a name defined above this line")

    def value(self, name: str, column: int) -> int:
        """The signed value of a name defined above or, by the earlier pass, below; or outside.

        Raises:
            UserError: it is neither.
        """
        symbol = self._found.get(name.upper()) or self._earlier.get(name.upper())
        return self._signed(symbol, name, column, "a label, an equated name or a number")

    def _signed(self, symbol: Symbol | None, name: str, column: int, expected: str) -> int:
        if symbol is not None:
            return symbol.signed
        if name.upper() not in self._outside:
            raise self._undefined(name, column, expected)
        return self._outside[name.upper()][1]

    def define(self, symbol: Symbol, *, settled: bool) -> None:
        """Enter a symbol; ``settled`` if the pass before found no mistake.

        Raises:
            UserError: reserved, defined before (unless both are SET), or in phase
                error: not the value that the pass before gave it.
        """
        name = symbol.name.upper()
        check_name(symbol.name, symbol.place)
        before = self._found.get(name)
        if before is not None and not before.kind is symbol.kind is SymbolKind.SET:
            raise UserError(
                f"{symbol.name} is already defined at {before.place}",
                symbol.place,
                expected="each name once; SET may give a name new values",
            )
        earlier = self._earlier.get(name)
        self._found[name] = symbol
        if settled and earlier and symbol.kind is not SymbolKind.SET:
            _check_phase(symbol, earlier)

    def _undefined(self, name: str, column: int, expected: str) -> UserError:
        names = [s.name for s in (*self._found.values(), *self._earlier.values())]
        names += [outside for outside, _ in self._outside.values()]
        close = nearest(name, names)
        return UserError(
            f"{name} is not defined",
            Place(column=column),
            expected=expected,
            nearest="" if close.upper() == name.upper() else close,
        )


def check_name(name: str, place: Place) -> None:
    """Refuse what cannot be a symbol's or macro's name.

    Raises:
        UserError: reserved, or not a name.
    """
    if not is_symbol_name(name):
        raise UserError(
            f"{name!r} is not a name",
            place,
            expected="letters, digits, _ ? @ $, not starting with a digit or $",
        )
    if name.upper() in RESERVED:
        raise UserError(f"{name} is a reserved word", place, expected="a name of your own")


def _check_phase(symbol: Symbol, earlier: Symbol) -> None:
    if symbol.value != earlier.value:
        raise UserError(
            f"phase error: {symbol.name} is {symbol.value:04X} here"
            f" and was {earlier.value:04X} in the first pass",
            symbol.place,
            expected="a value that does not depend on what follows",
        )
