"""From a mnemonic and its operands to bytes, by the instruction table alone."""

from __future__ import annotations

from collections.abc import Callable

from emu85.errors import Place, UserError, nearest
from emu85.firmware.assembler.expressions import Expression
from emu85.firmware.assembler.words import MNEMONICS, REGISTERS
from emu85.isa import OPERAND_BYTES, Instruction, Operand

Value = Callable[[Expression], int]
"""Evaluates an expression, 0 to FFFF."""


def size(mnemonic: str) -> int:
    """Bytes of an instruction; the same for every operand it can have."""
    return MNEMONICS[mnemonic][0].length


def encode(mnemonic: str, operands: tuple[Expression, ...], value_of: Value, column: int) -> bytes:
    """The bytes of an instruction.

    Args:
        mnemonic: a key of MNEMONICS.
        operands: as written.
        value_of: evaluates an operand.
        column: the end of the line's code, where a missing operand should stand.

    Raises:
        UserError: too few or too many operands, a register the instruction does
            not take, a value out of range; with the column.
    """
    family = MNEMONICS[mnemonic]
    _check_count(mnemonic, family[0], operands, column)
    data = b""
    for position, operand in enumerate(operands):
        wanted = family[0].operands[position]
        if isinstance(wanted, Operand):
            data += _data(wanted, operand, value_of)
        else:
            family = _choose(mnemonic, family, position, operand, value_of)
    return bytes([family[0].opcode]) + data


def byte_of(value: int, column: int) -> int:
    """A 16-bit value as a byte: its high half must be 00 or FF.

    Raises:
        UserError: it is neither.
    """
    if 0xFF < value < 0xFF00:
        raise UserError(
            f"{value:04X}H does not fit in a byte",
            Place(column=column),
            expected="-256 to 255; HIGH or LOW takes half of a word",
        )
    return value & 0xFF


def _check_count(
    mnemonic: str, shape: Instruction, operands: tuple[Expression, ...], column: int
) -> None:
    wanted = len(shape.operands)
    if len(operands) == wanted:
        return
    place = Place(column=operands[wanted].column if len(operands) > wanted else column)
    form = f"{mnemonic} {','.join(_words(shape))}".rstrip()
    raise UserError(
        f"{mnemonic} takes {_count(wanted)}, {len(operands)} given",
        place,
        expected=f"the form {form}",
    )


def _words(shape: Instruction) -> list[str]:
    """The operands of a form to be shown: a register or number stands for its kind."""
    words = []
    for position, operand in enumerate(shape.operands):
        if isinstance(operand, Operand):
            words.append(operand.value)
        elif shape.mnemonic == "RST":
            words.append("n")
        else:
            words.append(f"r{position + 1}" if shape.mnemonic == "MOV" else "r")
    return words


def _count(number: int) -> str:
    return {0: "no operand", 1: "one operand", 2: "two operands"}[number]


def _data(kind: Operand, operand: Expression, value_of: Value) -> bytes:
    value = value_of(operand)
    if OPERAND_BYTES[kind] == 2:
        return value.to_bytes(2, "little")
    return bytes([byte_of(value, operand.column)])


def _choose(
    mnemonic: str,
    family: tuple[Instruction, ...],
    position: int,
    operand: Expression,
    value_of: Value,
) -> tuple[Instruction, ...]:
    """The instructions of ``family`` whose literal at ``position`` is ``operand``."""
    named = operand.register
    number = None if named else value_of(operand)
    chosen = tuple(
        i
        for i in family
        if (named == i.operands[position] if named else number == _number(i.operands[position]))
    )
    if chosen:
        return chosen
    if mnemonic == "MOV" and position == 1 and (named == "M" or number == REGISTERS["M"]):
        raise UserError(
            "memory cannot be moved to memory in one instruction",
            Place(column=operand.column),
            expected="a register",
        )
    choices = list(dict.fromkeys(str(i.operands[position]) for i in family))
    raise UserError(
        f"{mnemonic} does not take {named or number}",
        Place(column=operand.column),
        expected=_or(choices),
        nearest=nearest(named, choices) if named else "",
    )


def _number(literal: str | Operand) -> int:
    text = str(literal)
    return REGISTERS[text] if text in REGISTERS else int(text)


def _or(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
