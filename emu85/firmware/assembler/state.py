"""What one pass over the source knows, and what a statement may do to it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from emu85.errors import Place, UserError
from emu85.firmware.assembler.errors import Hopeless
from emu85.firmware.assembler.expressions import (
    MASK,
    Cursor,
    Expression,
    evaluate,
    evaluate_signed,
)
from emu85.firmware.assembler.macros import Argument, Macro
from emu85.firmware.assembler.memory import Memory, advance
from emu85.firmware.assembler.scanner import scan
from emu85.firmware.assembler.sources import Sources
from emu85.firmware.assembler.statements import Statement, opens_body, split
from emu85.firmware.assembler.table import SymbolTable
from emu85.firmware.image import SourceLine
from emu85.firmware.listing import ListingRow
from emu85.firmware.symbols import Symbol, SymbolKind

_MOST_ERRORS = 100
"""Mistakes after which a pass gives up: the rest is likely to follow from these."""


@dataclass(frozen=True, slots=True)
class Pending:
    """A name equated to something that is defined further down."""

    symbol: Symbol
    expression: Expression
    here: int


class Pass:
    """One reading of the whole source; lives for one call of the assembler.

    Args:
        directories: where included files are looked for, after the including one's.
        earlier: symbols that the pass before found.
        final: bytes and listing are made.
        settled: the pass before found no mistake, so its values must come again.
        outside: values of names that the source may use without defining them.
        start: where the first byte goes if no ORG says otherwise.
    """

    def __init__(
        self,
        directories: tuple[Path, ...],
        earlier: Iterable[Symbol] = (),
        *,
        final: bool = False,
        settled: bool = False,
        outside: Mapping[str, int] | None = None,
        start: int = 0,
    ) -> None:
        self.directories = directories
        self.final = final
        self.settled = settled
        self.table = SymbolTable(earlier, outside)
        self.memory = Memory()
        self.sources = Sources()
        self.macros: dict[str, Macro] = {}
        self.pending: list[Pending] = []
        self.rows: list[ListingRow] = []
        self.errors: list[tuple[int, UserError]] = []
        self.location = start
        self.entry: int | None = None
        self.ended = False
        self.line = SourceLine("", 0, "")
        self.here = 0
        self._lines = 0
        self._row = 0
        self._unique = 0

    # Lines

    def begin(self, line: SourceLine) -> None:
        """Make ``line`` the one that errors, bytes and the listing speak of."""
        self.line = line
        self.here = self.location
        self._lines += 1
        self._row = len(self.rows)
        self._list(line)

    def _list(self, line: SourceLine) -> None:
        if self.final:
            self.rows.append(ListingRow(line, expanded=self.sources.expanding))

    def left_out(self) -> None:
        """Say in the listing that a false IF left the line out."""
        if self.final:
            self.rows[self._row] = replace(self.rows[self._row], skipped=True)

    def show(
        self, *, address: int | None = None, data: bytes = b"", value: int | None = None
    ) -> None:
        """Say in the listing what became of the line."""
        if self.final:
            row = self.rows[self._row]
            self.rows[self._row] = replace(row, address=address, data=data, value=value)

    def place(self, column: int = 0) -> Place:
        """A place in the present line."""
        return Place(self.line.file, self.line.line, column)

    def fault(self, error: UserError) -> None:
        """Note a mistake, placed in the present line unless it knows better.

        Raises:
            Hopeless: there are too many to go on.
        """
        self.errors.append((self._lines, self.placed(error)))
        if len(self.errors) == _MOST_ERRORS:
            raise Hopeless(
                f"{_MOST_ERRORS} mistakes so far; the rest was not read",
                self.place(),
                expected="those above put right first",
            )

    def placed(self, error: UserError) -> UserError:
        """The mistake with its place, its source line and the macros it stands in."""
        if not error.place.line or error.place == self.place(error.place.column):
            error = error.at(self.place(error.place.column), self.line.text)
        trail = self.sources.trail()
        if trail:
            error.message += f" (in {trail})"
        return error

    # Values

    def cursor(self, statement: Statement) -> Cursor:
        """The statement's operand, ready to be parsed."""
        return Cursor(scan(statement.text, statement.operand))

    def only(self, statement: Statement) -> Expression:
        """The statement's one and only operand."""
        cursor = self.cursor(statement)
        expression = cursor.expression()
        cursor.end()
        return expression

    def value(self, expression: Expression) -> int:
        """The value of an expression that may name what is defined further down."""
        return evaluate(expression, self.table.value, self.here)

    def known(self, expression: Expression) -> int:
        """The value of an expression of names defined above."""
        return evaluate(expression, self.table.known, self.here)

    def known_signed(self, expression: Expression) -> int:
        """As :meth:`known`, before it is cut to 16 bits: a number below 0 stays one."""
        return evaluate_signed(expression, self.table.known, self.here)

    def not_negative(self, expression: Expression, what: str) -> int:
        """The value, by names defined above, of ``what``: something that is never below 0.

        Raises:
            UserError: it is.
        """
        value = self.known_signed(expression)
        if value < 0:
            raise UserError(
                f"{what} of {value}",
                Place(column=expression.column),
                expected="0 to 0FFFFH",
            )
        return value & MASK

    def argument(self, argument: Argument) -> str:
        """The text that a macro argument passes."""
        if not argument.by_value:
            return argument.text
        cursor = Cursor(scan(" " * (argument.column - 1) + argument.text))
        expression = cursor.expression()
        cursor.end()
        return str(self.known(expression))

    # Effects

    def label(self, name: str, column: int) -> None:
        """Define a label at the location counter."""
        self.show(address=self.here & 0xFFFF)
        symbol = Symbol(name, self.here & 0xFFFF, SymbolKind.LABEL, self.place(column))
        self.table.define(symbol, settled=self.settled)

    def equate(self, statement: Statement, expression: Expression) -> None:
        """Define an EQU name, in the first pass perhaps later."""
        symbol = Symbol(statement.name, 0, SymbolKind.EQU, self.place(statement.name_column))
        if not self.final and not self.table.holds(expression.names):
            self.pending.append(Pending(symbol, expression, self.here))
            return
        number = evaluate_signed(expression, self.table.value, self.here)
        symbol = replace(symbol, value=number & MASK, negative=number < 0)
        self.show(value=symbol.value)
        self.table.define(symbol, settled=self.settled)

    def emit(self, size: int, make: Callable[[], bytes], column: int) -> None:
        """Place ``size`` bytes; ``make`` gives them and is asked in the final pass only.

        The location counter moves on even if ``make`` fails, so that one mistake
        does not shift everything after it.
        """
        start = self.location
        self.location = advance(start, size, column)
        if self.final:
            data = make()
            self.memory.put(start, data, self.line, column)
            self.show(address=start & 0xFFFF, data=data)

    def unique(self) -> str:
        """A name for a LOCAL that no source spells: ??0001 and on."""
        self._unique += 1
        return f"??{self._unique:04}"

    def take_lines(self, opening: Statement) -> tuple[SourceLine, ...]:
        """The lines up to the ENDM that belongs to ``opening``, the present line.

        To be called before anything in that line can fail, lest its body be
        taken for statements.

        Raises:
            UserError: the ENDM is missing.
        """
        taken: list[SourceLine] = []
        depth = 1
        while (line := self.sources.next_line()) is not None:
            self._list(line)
            statement = split(line.text)
            depth += opens_body(statement) - (statement.word == "ENDM")
            if not depth:
                return tuple(taken)
            taken.append(line)
        place = Place(column=opening.operation_column)
        raise UserError(f"{opening.word} is not closed", place, expected="ENDM")
