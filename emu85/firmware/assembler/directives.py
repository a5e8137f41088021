"""Every directive: one function of the pass and the statement.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapters 4 and 5
(value from memory).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping

from emu85.errors import Place, UserError
from emu85.firmware.assembler.encode import byte_of
from emu85.firmware.assembler.expressions import MASK, Cursor, Expression, ascii_bytes
from emu85.firmware.assembler.macros import (
    Argument,
    Body,
    Macro,
    make_body,
    read_arguments,
    read_names,
)
from emu85.firmware.assembler.memory import advance
from emu85.firmware.assembler.scanner import Kind
from emu85.firmware.assembler.sources import Conditional, find_include
from emu85.firmware.assembler.state import Pass
from emu85.firmware.assembler.statements import Statement
from emu85.firmware.assembler.table import check_name
from emu85.firmware.assembler.words import REGISTERS
from emu85.firmware.image import SourceLine
from emu85.firmware.symbols import Symbol, SymbolKind
from emu85.wording import counted

_FILE_NAME = re.compile(r"'([^']+)'|\"([^\"]+)\"|([^\s'\"]+)")


def _here(statement: Statement) -> Place:
    return Place(column=statement.operation_column)


def no_operand(statement: Statement) -> None:
    """Refuse an operand after a word that takes none.

    Raises:
        UserError: there is one; with the column.
    """
    if statement.operand_text:
        raise UserError(
            f"{statement.word} takes no operand",
            Place(column=statement.operand_column),
            expected="the end of the line",
        )


# Names and places


def _org(state: Pass, statement: Statement) -> None:
    state.location = state.not_negative(state.only(statement), "an address")
    state.show(address=state.location)


def _equ(state: Pass, statement: Statement) -> None:
    expression = state.only(statement)
    if not expression.register:
        state.equate(statement, expression)
        return
    _name(state, statement, SymbolKind.EQU, REGISTERS[expression.register])


def _set(state: Pass, statement: Statement) -> None:
    expression = state.only(statement)
    named = expression.register
    number = REGISTERS[named] if named else state.known_signed(expression)
    _name(state, statement, SymbolKind.SET, number)


def _name(state: Pass, statement: Statement, kind: SymbolKind, number: int) -> None:
    value = number & MASK
    state.show(value=value)
    place = state.place(statement.name_column)
    symbol = Symbol(statement.name, value, kind, place, number < 0)
    state.table.define(symbol, settled=state.settled)


# Data


def _db(state: Pass, statement: Statement) -> None:
    cursor = state.cursor(statement)
    items = [_db_item(cursor)]
    while cursor.token.word == ",":
        cursor.next()
        items.append(_db_item(cursor))
    cursor.end()
    size = sum(len(item) if isinstance(item, bytes) else 1 for item in items)

    def make() -> bytes:
        return b"".join(_byte(state, item) for item in items)

    state.emit(size, make, statement.operation_column)


def _db_item(cursor: Cursor) -> bytes | Expression:
    token = cursor.token
    alone = cursor.following.word == "," or cursor.following.kind is Kind.END
    if token.kind is not Kind.STRING or not alone:
        return cursor.expression()
    if not token.text:
        raise UserError(
            "the string is empty", Place(column=token.column), expected="at least one character"
        )
    cursor.next()
    return ascii_bytes(token)


def _byte(state: Pass, item: bytes | Expression) -> bytes:
    if isinstance(item, bytes):
        return item
    return bytes([byte_of(state.value(item), item.column)])


def _dw(state: Pass, statement: Statement) -> None:
    cursor = state.cursor(statement)
    words = cursor.expressions()
    if not words:
        raise UserError(
            "the operand is missing", Place(column=cursor.token.column), expected="words"
        )

    def make() -> bytes:
        return b"".join(state.value(word).to_bytes(2, "little") for word in words)

    state.emit(2 * len(words), make, statement.operation_column)


def _ds(state: Pass, statement: Statement) -> None:
    expression = state.only(statement)
    count = state.not_negative(expression, "a count")
    state.show(address=state.here & 0xFFFF)
    after = advance(state.location, count, expression.column)
    if count:
        state.memory.reserve(state.location, count)
    state.location = after


# Conditions


def _if(state: Pass, statement: Statement) -> None:
    # Opened before its operand can fail, so that its ENDIF finds it.
    condition = Conditional(state.line, statement.operation_column, active=False)
    state.sources.top.conditionals.append(condition)
    condition.active = state.known(state.only(statement)) != 0


def _else(state: Pass, statement: Statement) -> None:
    condition = _open_if(state, statement)
    no_operand(statement)
    if condition.seen_else:
        raise UserError("a second ELSE", _here(statement), expected="ENDIF")
    condition.seen_else = True
    condition.active = not condition.active


def _endif(state: Pass, statement: Statement) -> None:
    _open_if(state, statement)
    state.sources.top.conditionals.pop()
    no_operand(statement)


def _open_if(state: Pass, statement: Statement) -> Conditional:
    if not state.sources.top.conditionals:
        raise UserError(
            f"{statement.word} without IF", _here(statement), expected="an IF before it"
        )
    return state.sources.top.conditionals[-1]


def skip(state: Pass, statement: Statement) -> None:
    """A statement that a false IF leaves out: only the nesting of IFs is followed.

    Raises:
        UserError: ELSE or ENDIF out of place.
    """
    if statement.word == "IF":
        condition = Conditional(state.line, statement.operation_column, active=False)
        state.sources.top.conditionals.append(condition)
    elif statement.word == "ELSE":
        _else(state, statement)
    elif statement.word == "ENDIF":
        _endif(state, statement)


# Macros and repetition


def _macro(state: Pass, statement: Statement) -> None:
    lines = state.take_lines(statement)
    place = Place(column=statement.name_column)
    check_name(statement.name, place)
    parameters = read_names(statement.text, statement.operand, statement.end)
    body = make_body(parameters, lines)
    state.macros[statement.name.upper()] = Macro(
        statement.name, body, state.place(statement.name_column)
    )


def call(state: Pass, statement: Statement, macro: Macro) -> None:
    """Go on with the lines of a macro.

    Raises:
        UserError: too many arguments, or one that cannot be read.
        Hopeless: macros nest too deep or their lines grow too long.
    """
    arguments = read_arguments(statement.text, statement.operand, statement.end)
    most = len(macro.body.parameters)
    if len(arguments) > most:
        raise UserError(
            f"{macro.name} has {counted(most, 'parameter')}, {len(arguments)} given",
            Place(column=arguments[most].column),
            expected=f"at most {most}, or angle brackets around a list",
        )
    texts = tuple(state.argument(argument) for argument in arguments)
    lines = macro.body.expand(texts, state.unique)
    state.sources.enter_expansion(iter(lines), macro.name, state.place(statement.operation_column))


def _rept(state: Pass, statement: Statement) -> None:
    lines = state.take_lines(statement)
    count = state.not_negative(state.only(statement), "a count")
    _repeat(state, statement, make_body((), lines), (() for _ in range(count)))


def _irp(state: Pass, statement: Statement) -> None:
    lines = state.take_lines(statement)
    name, listed = _parameter_and_list(statement)
    start = listed.column - 1
    inner = read_arguments(statement.text, start, start + len(listed.text))
    texts = [(state.argument(argument),) for argument in inner]
    _repeat(state, statement, make_body((name,), lines), texts)


def _irpc(state: Pass, statement: Statement) -> None:
    lines = state.take_lines(statement)
    name, listed = _parameter_and_list(statement)
    _repeat(state, statement, make_body((name,), lines), ((c,) for c in listed.text))


def _parameter_and_list(statement: Statement) -> tuple[str, Argument]:
    arguments = read_arguments(statement.text, statement.operand, statement.end)
    if len(arguments) != 2:
        raise UserError(
            f"{statement.word} takes a parameter and a list",
            Place(column=statement.operand_column),
            expected=f"the form {statement.word} NAME,<...>",
        )
    start = arguments[0].column - 1
    (name,) = read_names(statement.text, start, start + max(1, len(arguments[0].text)))
    return name, arguments[1]


def _repeat(
    state: Pass, statement: Statement, body: Body, rounds: Iterable[tuple[str, ...]]
) -> None:
    if not body.lines:
        return  # nothing, however often: not even the rounds need be counted

    def lines() -> Iterator[SourceLine]:
        for arguments in rounds:
            yield from body.expand(arguments, state.unique)

    state.sources.enter_expansion(lines(), statement.word, state.place(statement.operation_column))


def _endm(state: Pass, statement: Statement) -> None:
    raise UserError("ENDM closes nothing", _here(statement), expected="MACRO, REPT, IRP or IRPC")


def _exitm(state: Pass, statement: Statement) -> None:
    if state.sources.top.is_file:
        raise UserError("EXITM outside a macro", _here(statement), expected="it in a macro body")
    state.sources.frames.pop()


def _local(state: Pass, statement: Statement) -> None:
    raise UserError(
        "LOCAL is out of place", _here(statement), expected="it first in the body of a macro"
    )


# Files and the end


def _include(state: Pass, statement: Statement) -> None:
    place = Place(column=statement.operand_column)
    match = _FILE_NAME.fullmatch(statement.operand_text)
    if match is None:
        raise UserError("no file to include", place, expected="the form INCLUDE 'FILE'")
    name = next(group for group in match.groups() if group)
    try:
        text, file = find_include(name, state.line.file, state.directories)
        state.sources.enter_file(text, file)
    except UserError as error:
        message = f"{error.place.file}: {error.message}" if error.place.file else error.message
        raise type(error)(message, place, expected=error.expected, nearest=error.nearest) from error


def _end(state: Pass, statement: Statement) -> None:
    state.ended = True
    if statement.operand_text:
        expression = state.only(statement)
        if state.final:
            state.entry = state.value(expression)


DIRECTIVES: Mapping[str, Callable[[Pass, Statement], None]] = {
    "ORG": _org,
    "EQU": _equ,
    "SET": _set,
    "DB": _db,
    "DW": _dw,
    "DS": _ds,
    "IF": _if,
    "ELSE": _else,
    "ENDIF": _endif,
    "MACRO": _macro,
    "REPT": _rept,
    "IRP": _irp,
    "IRPC": _irpc,
    "ENDM": _endm,
    "EXITM": _exitm,
    "LOCAL": _local,
    "INCLUDE": _include,
    "END": _end,
}
