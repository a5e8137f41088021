"""Cuts a source line into its fields: label, operation, operand, comment.

Source: Intel 8080/8085 Assembly Language Programming Manual, chapter 2, "Source
line format" (value from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from emu85.firmware.assembler.scanner import code_end
from emu85.firmware.assembler.words import BODY_OPENERS, NAMED_DIRECTIVES
from emu85.firmware.symbols import NAME_PATTERN

_LABEL = re.compile(rf"\s*({NAME_PATTERN})\s*:")
_WORD = re.compile(r"\s*([^\s;']+)")


@dataclass(frozen=True, slots=True)
class Statement:
    """The fields of a line; absent ones are empty, columns count from 1.

    Attributes:
        label: the name before a colon.
        name: the name without a colon before EQU, SET or MACRO.
        operation: mnemonic, directive or macro name as written.
        operand: index in the line at which the operand field may begin.
        end: index after the last character of code.
    """

    text: str
    label: str
    label_column: int
    name: str
    name_column: int
    operation: str
    operation_column: int
    operand: int
    end: int

    @property
    def word(self) -> str:
        """The operation in capitals."""
        return self.operation.upper()

    @property
    def operand_text(self) -> str:
        """The operand field as written, without comment."""
        return self.text[self.operand : self.end].strip()

    @property
    def operand_column(self) -> int:
        """Where the operand begins, or should."""
        rest = self.text[self.operand : self.end]
        if not rest.strip():
            return self.end + 1
        return self.operand + len(rest) - len(rest.lstrip()) + 1


def split(text: str) -> Statement:
    """The fields of a line.  Never fails: what is wrong in a field its reader tells."""
    end = len(text[: code_end(text)].rstrip())
    label, label_column, at = "", 0, 0
    labelled = _LABEL.match(text, 0, end)
    if labelled:
        label, label_column, at = labelled.group(1), labelled.start(1) + 1, labelled.end()
    first = _WORD.match(text, at, end)
    if first is None:
        # A line that begins with a quote has no operation but is not empty.
        rest = text[at:end].lstrip()
        column = end - len(rest) + 1
        return Statement(text, label, label_column, "", 0, rest, column, end, end)
    second = _WORD.match(text, first.end(), end)
    if second is not None and second.group(1).upper() in NAMED_DIRECTIVES:
        return Statement(
            text,
            label,
            label_column,
            first.group(1),
            first.start(1) + 1,
            second.group(1),
            second.start(1) + 1,
            second.end(),
            end,
        )
    return Statement(
        text, label, label_column, "", 0, first.group(1), first.start(1) + 1, first.end(), end
    )


def opens_body(statement: Statement) -> bool:
    """Whether the statement's lines run to an ENDM."""
    return statement.word in BODY_OPENERS
