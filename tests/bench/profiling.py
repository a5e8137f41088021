"""What it costs to watch where the time goes."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.machine import Machine
from emu85.profile.watch import Watch
from tests.bench.clock import multiple
from tests.bench.programs import COMPUTE, machine
from tests.bench.report import Row

_T_STATES = 20_000_000
_WANTED = 20
_CALLS = """
        LXI     SP,0A000H
ROUND:  CALL    OUTER
        JMP     ROUND
OUTER:  CALL    INNER
        CALL    INNER
INNER:  PUSH    PSW
        POP     PSW
        RET
"""
"""Firmware that does little but call."""


def profiling() -> Iterator[Row]:
    """Multiples of a 3.072 MHz board's real time, under a watch."""
    yield Row("compute, where its time goes", _watched(machine(COMPUTE)), "x", _WANTED)
    yield Row("  calls and nothing else", _watched(machine(_CALLS)), "x", _WANTED)
    tide = Machine.from_board("saltmarsh")
    tide.load(tide.board.firmware or "")
    yield Row("  the tide gauge", _watched(tide), "x", _WANTED)


def _watched(board: Machine) -> float:
    Watch(board)
    return multiple(board, _T_STATES, 5)
