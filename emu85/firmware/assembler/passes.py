"""The two passes.

The first gives every name its value, the second makes the bytes.  Both read the
source in the same way, macros and conditions included: whatever decides how many
bytes there are may name only what stands above it, so both passes count alike.
An equated name may be defined by what follows; it is settled between the passes.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from emu85.errors import Place, UserError, nearest
from emu85.firmware.assembler.directives import DIRECTIVES, call, no_operand, skip
from emu85.firmware.assembler.encode import encode, size
from emu85.firmware.assembler.errors import AssemblyErrors, Hopeless
from emu85.firmware.assembler.expressions import evaluate
from emu85.firmware.assembler.result import Assembly
from emu85.firmware.assembler.state import Pass
from emu85.firmware.assembler.statements import Statement, split
from emu85.firmware.assembler.table import SymbolTable
from emu85.firmware.assembler.words import MNEMONICS, NAMED_DIRECTIVES
from emu85.firmware.image import Image
from emu85.firmware.listing import write_listing
from emu85.firmware.symbols import Symbol, SymbolKind

_LAST = sys.maxsize
"""Stands after every line when mistakes are put in order."""


def assemble(
    text: str,
    file: str = "",
    *,
    include_dirs: Sequence[str | Path] = (),
    outside: Mapping[str, int] | None = None,
    start: int = 0,
) -> Assembly:
    """Assemble 8085 source.

    Args:
        text: the source.
        file: its name, for messages and as the place included files stand beside.
        include_dirs: where else to look for included files, in order.
        outside: values of names that the source may use without defining them; one
            that it defines itself is its own.
        start: where the first byte goes if no ORG says otherwise, 0 to FFFF.

    Raises:
        AssemblyErrors: every mistake found, each with file, line and column.
    """
    directories = tuple(Path(directory) for directory in include_dirs)
    first = Pass(directories, outside=outside, start=start)
    if not _run(first, text, file):
        raise _told(first.errors)
    second = Pass(
        directories,
        _settle(first, outside),
        final=True,
        settled=not first.errors,
        outside=outside,
        start=start,
    )
    _run(second, text, file)
    if first.errors or second.errors:
        raise _told(first.errors + second.errors)
    return _finish(second, file)


def _told(errors: list[tuple[int, UserError]]) -> AssemblyErrors:
    """The mistakes in the order of the lines, each told once."""
    ordered = [error for _, error in sorted(errors, key=lambda pair: pair[0])]
    once = {(error.place, error.message): error for error in ordered}
    return AssemblyErrors(tuple(once.values()))


def _settle(first: Pass, outside: Mapping[str, int] | None) -> tuple[Symbol, ...]:
    """The first pass's symbols, those equated to later ones included where possible.

    What stays unsettled (a circle, a division by zero) the second pass tells.
    """
    found = {symbol.name.upper(): symbol for symbol in first.table.symbols}
    given = {name.upper() for name in outside or ()}
    waiting = first.pending
    progress = True
    while waiting and progress:
        known = found.keys() | given
        ready = [p for p in waiting if {n.upper() for n in p.expression.names} <= known]
        waiting = [p for p in waiting if p not in ready]
        progress = bool(ready)
        table = SymbolTable(found.values(), outside)
        for pending in ready:
            with contextlib.suppress(UserError):
                value = evaluate(pending.expression, table.value, pending.here)
                symbol = replace(pending.symbol, value=value)
                found.setdefault(symbol.name.upper(), symbol)
    return tuple(found.values())


def _run(state: Pass, text: str, file: str) -> bool:
    """Read the source once; False if a limit ended it early."""
    try:
        state.sources.enter_file(text, file)
        while state.sources.frames and not state.ended:
            _next(state)
        while state.sources.frames:
            _leave(state)
    except Hopeless as error:
        state.errors.append((_LAST, state.placed(error)))
        return False
    return True


def _next(state: Pass) -> None:
    line = state.sources.next_line()
    if line is None:
        _leave(state)
        return
    state.begin(line)
    try:
        statement = split(line.text)
        if state.sources.top.active:
            _statement(state, statement)
            return
        skip(state, statement)
        if not state.sources.top.active:
            state.left_out()
    except Hopeless:
        raise
    except UserError as error:
        state.fault(error)


def _leave(state: Pass) -> None:
    """End a file or expansion; its IFs must have ended before it."""
    for condition in state.sources.top.conditionals:
        place = Place(condition.line.file, condition.line.line, condition.column)
        state.fault(
            UserError("IF is not closed", place, expected="ENDIF", source=condition.line.text)
        )
    state.sources.frames.pop()


def _statement(state: Pass, statement: Statement) -> None:
    word = statement.word
    if word in NAMED_DIRECTIVES and not statement.name:
        _take_nameless(state, statement)
    try:
        if statement.label:
            state.label(statement.label, statement.label_column)
    except UserError as error:
        state.fault(error)
    if word in DIRECTIVES:
        DIRECTIVES[word](state, statement)
    elif word in MNEMONICS:
        _instruction(state, statement)
    elif word in state.macros:
        call(state, statement, state.macros[word])
    elif word:
        raise _unknown(state, statement)


def _take_nameless(state: Pass, statement: Statement) -> None:
    """Refuse EQU, SET or MACRO without its name; a macro's body goes with it.

    Raises:
        UserError: always.
    """
    if statement.word == "MACRO":
        state.take_lines(statement)
    if statement.label:
        raise UserError(
            f"a name before {statement.word} has no colon",
            Place(column=statement.label_column + len(statement.label)),
            expected=f"{statement.label} {statement.word}",
        )
    raise UserError(
        f"{statement.word} without a name",
        Place(column=statement.operation_column),
        expected=f"a name before {statement.word}",
    )


def _instruction(state: Pass, statement: Statement) -> None:
    mnemonic = statement.word

    def make() -> bytes:
        if not MNEMONICS[mnemonic][0].operands:
            no_operand(statement)
        operands = state.cursor(statement).expressions()
        return encode(mnemonic, operands, state.value, statement.end + 1)

    state.emit(size(mnemonic), make, statement.operation_column)


def _unknown(state: Pass, statement: Statement) -> UserError:
    words = (*MNEMONICS, *DIRECTIVES, *(macro.name for macro in state.macros.values()))
    return UserError(
        f"{statement.operation!r} is no instruction, directive or macro",
        Place(column=statement.operation_column),
        expected="a mnemonic, a directive or a macro; a label ends with a colon",
        nearest=nearest(statement.operation, words),
    )


def _finish(state: Pass, file: str) -> Assembly:
    symbols = state.table.symbols
    image = Image(
        state.memory.segments(),
        symbols=_values(symbols),
        equated=frozenset(s.name for s in symbols if s.kind is not SymbolKind.LABEL),
        runs=state.memory.runs(),
        lines=state.memory.lines,
        entry=state.entry,
        source=file,
    )
    rows = tuple(state.rows)
    return Assembly(image, write_listing(file, rows, symbols), rows, symbols)


def _values(symbols: tuple[Symbol, ...]) -> dict[str, int]:
    """Values by name, labels first; names made for LOCAL mean nothing outside."""
    lasting = [symbol for symbol in symbols if not symbol.name.startswith("??")]
    lasting.sort(key=lambda symbol: symbol.kind is not SymbolKind.LABEL)
    return {symbol.name: symbol.value for symbol in lasting}
