"""Expressions of 16-bit unsigned numbers, parsed once and evaluated when asked.

An expression is kept in postfix order, which needs no recursion to evaluate and
so has no depth at which it breaks.

Precedence, tightest first, after the Intel 8080/8085 Assembly Language
Programming Manual, chapter 2 (value from memory): parentheses; NUL; HIGH LOW;
``* / MOD SHL SHR``; ``+ -`` with one operand or two; EQ LT LE GT GE NE; NOT;
AND; OR XOR.  Comparisons are unsigned and give FFFF for true, 0 for false.
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from emu85.errors import Place, UserError
from emu85.firmware.assembler.scanner import Kind, Token
from emu85.firmware.assembler.words import (
    BINARY_OPERATORS,
    DIRECTIVES,
    MNEMONICS,
    NUL,
    PREFIX_OPERATORS,
    REGISTERS,
)
from emu85.isa import Operand

MASK = 0xFFFF
_WIDEST = 1 << 48
"""Beyond it only the low 16 bits are kept, so that no line can build a big number."""
_DEEPEST = 50
"""Parentheses and prefixes within one another; a limit so that no line can break the parser."""
_OPERAND = "a name, a number, a quoted character, $ or '('"

Lookup = Callable[[str, int], int]
"""From a symbol's name and column to its value; raises UserError for an unknown one."""


class _Does(enum.Enum):
    VALUE = enum.auto()
    HERE = enum.auto()
    SYMBOL = enum.auto()
    REGISTER = enum.auto()
    PREFIX = enum.auto()
    BINARY = enum.auto()


@dataclass(frozen=True, slots=True)
class Step:
    """One step of an expression: push a value or apply an operator."""

    does: _Does
    text: str
    column: int
    value: int = 0


@dataclass(frozen=True, slots=True)
class Expression:
    """A parsed expression; ``column`` is where it begins."""

    steps: tuple[Step, ...]
    column: int

    @property
    def names(self) -> tuple[str, ...]:
        """The symbols it needs, as written."""
        return tuple(step.text for step in self.steps if step.does is _Does.SYMBOL)

    @property
    def register(self) -> str:
        """The register's name if the expression is nothing but one, else ``""``."""
        only = len(self.steps) == 1 and self.steps[0].does is _Does.REGISTER
        return self.steps[0].text if only else ""


def _truth(true: bool) -> int:
    return MASK if true else 0


_PREFIX: Mapping[str, Callable[[int], int]] = {
    "HIGH": lambda a: a >> 8,
    "LOW": lambda a: a & 0xFF,
    "+": lambda a: a,
    "-": lambda a: -a,
    "NOT": lambda a: ~a & MASK,
}
_BINARY: Mapping[str, Callable[[int, int], int]] = {
    "*": lambda a, b: a * b,
    "/": lambda a, b: a // b,
    "MOD": lambda a, b: a % b,
    # All bits are gone after 16 places; more would only build big numbers.
    "SHL": lambda a, b: a << min(b, 16) & MASK,
    "SHR": lambda a, b: a >> min(b, 16),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "EQ": lambda a, b: _truth(a == b),
    "NE": lambda a, b: _truth(a != b),
    "LT": lambda a, b: _truth(a < b),
    "LE": lambda a, b: _truth(a <= b),
    "GT": lambda a, b: _truth(a > b),
    "GE": lambda a, b: _truth(a >= b),
    "AND": lambda a, b: a & b,
    "OR": lambda a, b: a | b,
    "XOR": lambda a, b: a ^ b,
}


_SIGNED = ("*", "+", "-")
"""Operators that work alike on numbers of any sign; the others want words of 16 bits."""


def evaluate(expression: Expression, lookup: Lookup, here: int) -> int:
    """The value, 0 to FFFF; ``here`` is what ``$`` stands for.

    Raises:
        UserError: as :func:`evaluate_signed`.
    """
    return evaluate_signed(expression, lookup, here) & MASK


def evaluate_signed(expression: Expression, lookup: Lookup, here: int) -> int:
    """The value before it is cut to 16 bits: below 0 where less than nothing is asked for.

    Raises:
        UserError: an unknown symbol (by ``lookup``), a register where a value is
            wanted, or a division by zero; with the column.
    """
    stack: list[int] = []
    for step in expression.steps:
        if step.does is _Does.PREFIX:
            stack.append(_prefixed(step, stack.pop()))
        elif step.does is _Does.BINARY:
            right = stack.pop()
            stack.append(_apply(step, stack.pop(), right))
        else:
            stack.append(_operand(step, lookup, here))
    return stack.pop()


def _operand(step: Step, lookup: Lookup, here: int) -> int:
    if step.does is _Does.SYMBOL:
        return lookup(step.text, step.column)
    if step.does is _Does.REGISTER:
        raise UserError(
            f"{step.text} is a register, not a value",
            Place(column=step.column),
            expected="a number or a symbol",
        )
    return here & MASK if step.does is _Does.HERE else step.value


def _prefixed(step: Step, value: int) -> int:
    return _PREFIX[step.text](value if step.text in _SIGNED else value & MASK)


def _apply(step: Step, left: int, right: int) -> int:
    if step.text in _SIGNED:
        value = _BINARY[step.text](left, right)
        return value if -_WIDEST < value < _WIDEST else value & MASK
    left, right = left & MASK, right & MASK
    if step.text in ("/", "MOD") and right == 0:
        raise UserError(
            f"{step.text} by zero", Place(column=step.column), expected="a divisor other than 0"
        )
    return _BINARY[step.text](left, right)


class Cursor:
    """Reads expressions off the tokens of one line, from left to right."""

    def __init__(self, tokens: tuple[Token, ...]) -> None:
        self._tokens = tokens
        self._at = 0
        self._depth = 0
        self._steps: list[Step] = []

    @property
    def token(self) -> Token:
        """The token that comes next; the last one is always END."""
        return self._tokens[self._at]

    @property
    def following(self) -> Token:
        """The token after that."""
        return self._tokens[min(self._at + 1, len(self._tokens) - 1)]

    def next(self) -> Token:
        """Pass over a token and give it."""
        token = self.token
        self._at = min(self._at + 1, len(self._tokens) - 1)
        return token

    def end(self) -> None:
        """Insist that nothing is left.

        Raises:
            UserError: something is.
        """
        if self.token.kind is not Kind.END:
            raise _unexpected(self.token, "the end of the operand")

    def expression(self) -> Expression:
        """One expression, up to a comma or the end.

        Raises:
            UserError: not an expression; with the column.
        """
        self._steps = []
        column = self.token.column
        self._parse(0)
        if self.token.word != "," and self.token.kind is not Kind.END:
            raise _unexpected(self.token, "an operator, a comma or the end of the operand")
        return Expression(tuple(self._steps), column)

    def expressions(self) -> tuple[Expression, ...]:
        """Expressions between commas up to the end; none if there is nothing.

        Raises:
            UserError: as :meth:`expression`.
        """
        if self.token.kind is Kind.END:
            return ()
        found = [self.expression()]
        while self.token.word == ",":
            self.next()
            found.append(self.expression())
        return tuple(found)

    def _parse(self, floor: int) -> None:
        """An operand and all operators after it that bind more tightly than ``floor``."""
        self._depth += 1
        if self._depth > _DEEPEST:
            raise UserError(
                "the expression is nested too deep",
                Place(column=self.token.column),
                expected=f"at most {_DEEPEST} levels",
            )
        self._first()
        while BINARY_OPERATORS.get(self.token.word, 0) > floor:
            operator = self.next()
            self._parse(BINARY_OPERATORS[operator.word])
            self._add(_Does.BINARY, operator)
        self._depth -= 1

    def _first(self) -> None:
        token = self.next()
        if token.word in PREFIX_OPERATORS:
            self._parse(PREFIX_OPERATORS[token.word])
            self._add(_Does.PREFIX, token)
        elif token.word == NUL:
            self._nul(token)
        elif token.word == "(":
            self._parenthesis(token)
        elif token.word == "$":
            self._add(_Does.HERE, token)
        elif token.kind is Kind.NUMBER:
            self._add(_Does.VALUE, token, token.value)
        elif token.kind is Kind.STRING:
            self._add(_Does.VALUE, token, _characters(token))
        elif token.kind is Kind.NAME:
            self._name(token)
        else:
            raise _unexpected(token, _OPERAND)

    def _add(self, does: _Does, token: Token, value: int = 0) -> None:
        text = token.word or token.text
        if does is _Does.SYMBOL:
            text = token.text
        self._steps.append(Step(does, text, token.column, value))

    def _name(self, token: Token) -> None:
        if token.word in REGISTERS:
            self._add(_Does.REGISTER, token)
            return
        if token.word in MNEMONICS or token.word in DIRECTIVES or token.word in BINARY_OPERATORS:
            raise UserError(
                f"{token.text} is a reserved word, not a value",
                Place(column=token.column),
                expected=_OPERAND,
            )
        self._add(_Does.SYMBOL, token)

    def _nul(self, token: Token) -> None:
        missing = self.token.kind is Kind.END
        while self.token.kind is not Kind.END:
            self.next()
        self._add(_Does.VALUE, token, _truth(missing))

    def _parenthesis(self, opening: Token) -> None:
        if self.token.word in MNEMONICS:
            self._add(_Does.VALUE, opening, self._opcode())
        else:
            self._parse(0)
        if self.token.word != ")":
            raise UserError(
                "the parenthesis is not closed",
                Place(column=opening.column),
                expected=f"')' at column {self.token.column}",
            )
        self.next()

    def _opcode(self) -> int:
        """An instruction in parentheses stands for its opcode; data bytes are left out."""
        mnemonic = self.next()
        written: list[str] = []
        while self.token.word != ")" and self.token.kind is not Kind.END:
            token = self.next()
            if token.word != ",":
                written.append(str(token.value) if token.kind is Kind.NUMBER else token.word)
        for instruction in MNEMONICS[mnemonic.word]:
            if written == [o for o in instruction.operands if not isinstance(o, Operand)]:
                return instruction.opcode
        raise UserError(
            f"no opcode is {mnemonic.word} {','.join(written)}".rstrip(),
            Place(column=mnemonic.column),
            expected="an instruction with its registers and without its data",
        )


def _characters(token: Token) -> int:
    """One or two characters as a number, the first being the high byte."""
    if not 1 <= len(token.text) <= 2:
        raise UserError(
            f"a string of {len(token.text)} characters is not a value",
            Place(column=token.column),
            expected="one or two characters",
        )
    return int.from_bytes(ascii_bytes(token), "big")


def ascii_bytes(token: Token) -> bytes:
    """The characters of a string token.

    Raises:
        UserError: one of them is not ASCII.
    """
    for character in token.text:
        if ord(character) > 0x7F:
            raise UserError(
                f"{character!r} is not an ASCII character",
                Place(column=token.column),
                expected="characters 00 to 7F; others as numbers",
            )
    return token.text.encode("ascii")


def _unexpected(token: Token, expected: str) -> UserError:
    place = Place(column=token.column)
    if token.kind is Kind.END:
        return UserError("the operand is missing", place, expected=expected)
    return UserError(f"{token.text!r} is not expected here", place, expected=expected)
