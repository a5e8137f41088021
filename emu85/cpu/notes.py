"""Counting findings as they happen in the loop."""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type"

from __future__ import annotations

import numpy as np

from emu85.cpu import constants as c
from emu85.cpu.kernel import Array, part
from emu85.cpu.layout import SPACE, UNWRITTEN


@part
def note(findings: Array, s: Array, kind: int, index: int, t: int) -> None:
    """Count one finding."""
    s[c.MOVED] |= c.FINDING
    row = kind * SPACE + index
    if findings[row, c.COUNT] == 0:
        findings[row, c.FIRST_T] = t
        findings[row, c.FIRST_PC] = s[c.INSTRUCTION]
    findings[row, c.COUNT] += 1
    findings[row, c.LAST_T] = t


@part
def read_findings(
    findings: Array, s: Array, m: int, slow: int, v: np.int64, index: int, t: int
) -> int:
    """Note what is wrong with a read; returns line bits for its record."""
    notes = 0
    if slow & c.NO_READER != 0:
        note(findings, s, c.FLOATING_READ, index, t)
        notes = c.FLOATING | c.FINDING
    if v & UNWRITTEN != 0 and m & c.READ_EXIT == 0:
        note(findings, s, c.UNWRITTEN_READ, index, t)
        notes |= c.FINDING
    if slow & c.NOT_CODE != 0:
        note(findings, s, c.OUTSIDE_CODE, index, t)
        notes |= c.FINDING
    if slow & c.CONTENTION != 0:
        note(findings, s, c.CONTENDED, index, t)
        notes |= c.FINDING
    return notes


@part
def write_findings(findings: Array, s: Array, slow: int, index: int, t: int) -> int:
    """Note what is wrong with a write; returns line bits for its record."""
    notes = 0
    if slow & c.ROM != 0:
        note(findings, s, c.ROM_WRITE, index, t)
        notes = c.FINDING
    if slow & c.NO_WRITER != 0:
        note(findings, s, c.LOST_WRITE, index, t)
        notes |= c.FINDING
    if slow & c.NOT_STACK != 0:
        note(findings, s, c.STACK, index, t)
        notes |= c.FINDING
    return notes
