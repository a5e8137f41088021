"""A routine run with all kinds of registers and RAM, to hold its least and most against."""

from __future__ import annotations

import random
from collections.abc import Iterator

from emu85.machine import Machine
from emu85.testing.calling import Given, call

_SEED = 85
_PATIENCE = 10_000_000
"""T-states that a run may take beyond the most, before it counts as one that never ends."""


def trials(machine: Machine, name: str, address: int, runs: int, most: int | None) -> Iterator[int]:
    """T-states of so many calls, from the first opcode fetch to the end of the return.

    A, the flags, B to L and all RAM hold any value; what ports give is the board's.

    Raises:
        BoardFailure: it does not return.
    """
    dice = random.Random(_SEED)
    rams = [r for r in machine.board.memory_map() if r.kind == "ram" and r.mirror_of is None]
    for _ in range(runs):
        machine.power()
        for ram in rams:
            machine.memory[ram.low : ram.high + 1] = dice.randbytes(ram.high - ram.low + 1)
        bc, de, hl, psw = (dice.randrange(0x10000) & mask for mask in (-1, -1, -1, ~8))
        given = Given(bc=bc, de=de, hl=hl, psw=psw)
        limit = _PATIENCE + (most or 0)
        yield call(machine, name, address, given, limit).t_states
