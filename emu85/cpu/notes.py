"""Counting findings as they happen in the loop."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

import numpy as np

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.layout import SPACE, UNWRITTEN


@part
def note(findings: Array, kind: int, index: int, t: int, pc: int) -> None:
    """Count one finding."""
    row = kind * SPACE + index
    if findings[row, c.COUNT] == 0:
        findings[row, c.FIRST_T] = t
        findings[row, c.FIRST_PC] = pc
    findings[row, c.COUNT] += 1
    findings[row, c.LAST_T] = t


@part
def read_findings(
    findings: Array, s: Array, m: int, slow: int, v: np.int64, index: int, t: int
) -> int:
    """Note what is wrong with a read; returns line bits for its record."""
    pc = s[c.INSTRUCTION]
    notes = 0
    if slow & c.NO_READER != 0:
        note(findings, c.FLOATING_READ, index, t, pc)
        notes = c.FLOATING | c.FINDING
    if v & UNWRITTEN != 0 and m & c.READ_EXIT == 0:
        note(findings, c.UNWRITTEN_READ, index, t, pc)
        notes |= c.FINDING
    if slow & c.NOT_CODE != 0:
        note(findings, c.OUTSIDE_CODE, index, t, pc)
        notes |= c.FINDING
    if slow & c.CONTENTION != 0:
        note(findings, c.CONTENDED, index, t, pc)
        notes |= c.FINDING
    return notes


@part
def write_findings(findings: Array, s: Array, slow: int, index: int, t: int) -> int:
    """Note what is wrong with a write; returns line bits for its record."""
    pc = s[c.INSTRUCTION]
    notes = 0
    if slow & c.ROM != 0:
        note(findings, c.ROM_WRITE, index, t, pc)
        notes = c.FINDING
    if slow & c.NO_WRITER != 0:
        note(findings, c.LOST_WRITE, index, t, pc)
        notes |= c.FINDING
    if slow & c.NOT_STACK != 0:
        note(findings, c.STACK, index, t, pc)
        notes |= c.FINDING
    return notes
