"""Assembler, disassembler and printed reference against the hand table.

Source: 8080/8085 Assembly Language Programming Manual; for the ten unspecified
opcodes Dehnhardt & Sorensen, Electronics, 18 January 1979, whose X5 jumps are
written JNK and JK here, with JNX5 and JX5 taken as well.  Values from memory.
"""

from __future__ import annotations

import re

import pytest

from emu85.firmware import assemble, disassemble
from emu85.isa import INSTRUCTIONS

from .opcodes import AFFECTED, OPCODES, Opcode

SECOND, THIRD = 0x5A, 0x12

NUMBERS = {"d8": "05AH", "d16": "0125AH", "nn": "0125AH", "port": "05AH"}


def written(opcode: Opcode) -> str:
    """The instruction as the manual would have it written."""
    operands = ",".join(NUMBERS.get(operand, operand) for operand in opcode.operands)
    return f"{opcode.mnemonic} {operands}".strip()


def data(opcode: Opcode) -> bytes:
    """Its bytes."""
    return bytes([opcode.code, SECOND, THIRD])[: opcode.size]


@pytest.mark.parametrize("code", range(256), ids=lambda code: str(OPCODES[code]))
def test_assembler_and_disassembler(code: int) -> None:
    opcode = OPCODES[code]
    segments = assemble(f"\t{written(opcode)}\n\tEND\n", "names.asm").image.segments
    assert [(s.start, s.data) for s in segments] == [(0, data(opcode))]
    line = disassemble(lambda address: data(opcode)[address], 0)
    assert line.bytes == data(opcode)
    assert plain(line.text) == plain(written(opcode))


def plain(text: str) -> list[str]:
    """Words without spacing, case and leading zeros of numbers."""
    words = re.split(r"[\s,]+", text.strip().upper())
    return [re.sub(r"^0+(?=[0-9A-F]+H$)", "", word) for word in words]


@pytest.mark.parametrize(("alias", "code"), [("JNX5", 0xDD), ("JX5", 0xFD)])
def test_the_article_s_names_of_the_jumps(alias: str, code: int) -> None:
    segments = assemble(f"\t{alias} 125AH\n\tEND\n", "names.asm").image.segments
    assert [s.data for s in segments] == [bytes([code, SECOND, THIRD])]


@pytest.mark.parametrize("code", range(256), ids=lambda code: str(OPCODES[code]))
def test_printed_reference(code: int) -> None:
    """Length, T-states on both paths and flags, as the reference prints them."""
    opcode, printed = OPCODES[code], INSTRUCTIONS[code]
    assert printed.length == opcode.size
    assert printed.t_states == opcode.t
    assert (printed.t_states_not_taken or printed.t_states) == opcode.t_not
    assert printed.flags == affected(opcode)


def affected(opcode: Opcode) -> str:
    """The flags an opcode changes, highest first."""
    if opcode.operands == ("PSW",) and opcode.mnemonic == "POP":
        return "S Z K AC P V CY"
    return next(
        (flags for flags, names in AFFECTED.items() if opcode.mnemonic in names.split()), ""
    )
