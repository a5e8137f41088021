"""The words that the assembler keeps for itself.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapters 2 to 5
(value from memory).  Mnemonics come from the instruction table.
"""

from __future__ import annotations

from collections.abc import Mapping

from emu85.isa import INSTRUCTIONS, Instruction

REGISTERS: Mapping[str, int] = {
    **{"B": 0, "C": 1, "D": 2, "E": 3, "H": 4, "L": 5, "M": 6, "A": 7},
    **{"SP": 6, "PSW": 6},
}
"""Register names and the numbers by which an operand may also name them."""

PREFIX_OPERATORS: Mapping[str, int] = {"HIGH": 7, "LOW": 7, "+": 5, "-": 5, "NOT": 3}
"""Operators before their operand, and how tightly they bind."""

BINARY_OPERATORS: Mapping[str, int] = {
    **dict.fromkeys(("*", "/", "MOD", "SHL", "SHR"), 6),
    **dict.fromkeys(("+", "-"), 5),
    **dict.fromkeys(("EQ", "LT", "LE", "GT", "GE", "NE"), 4),
    "AND": 2,
    **dict.fromkeys(("OR", "XOR"), 1),
}
"""Operators between operands, and how tightly they bind; equals go left to right."""

NUL = "NUL"
"""The operator that asks whether the rest of the operand is missing."""

NAMED_DIRECTIVES = ("EQU", "SET", "MACRO")
"""Directives that stand after a name without a colon."""

BODY_OPENERS = ("MACRO", "REPT", "IRP", "IRPC")
"""Directives whose lines run to an ENDM."""

DIRECTIVES = (
    *NAMED_DIRECTIVES,
    *("ORG", "DB", "DW", "DS", "END", "INCLUDE"),
    *("IF", "ELSE", "ENDIF"),
    *("REPT", "IRP", "IRPC", "ENDM", "EXITM", "LOCAL"),
)


def _mnemonics() -> dict[str, tuple[Instruction, ...]]:
    families: dict[str, list[Instruction]] = {}
    for instruction in INSTRUCTIONS:
        for name in (instruction.mnemonic, *instruction.aliases):
            families.setdefault(name, []).append(instruction)
    return {name: tuple(family) for name, family in families.items()}


MNEMONICS: Mapping[str, tuple[Instruction, ...]] = _mnemonics()
"""Every opcode that a mnemonic can stand for, aliases included."""

_OPERATOR_WORDS = {w for w in (*PREFIX_OPERATORS, *BINARY_OPERATORS, NUL) if w.isalpha()}

RESERVED = frozenset((*REGISTERS, *_OPERATOR_WORDS, *DIRECTIVES, *MNEMONICS))
"""Names that no symbol or macro may have, in capitals."""
