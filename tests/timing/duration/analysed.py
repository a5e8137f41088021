"""Routines followed and run on the same board, for tests."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Unpack

from emu85.board import fit, read_board
from emu85.burn.ground import Ground
from emu85.firmware import Image, assemble
from emu85.machine import Machine
from emu85.testing.calling import Given, call
from emu85.timing.delay.waits import BoardWaits
from emu85.timing.duration import Analysis, Result

_BOARD = """
name: bench
crystal: 2 MHz
stack: 8F00-8FFF
memory:
  - {{rom: 32K, name: program, at: 0000-7FFF, waits: {rom}}}
  - {{ram: 4K, name: work, at: 8000-8FFF, waits: {ram}}}
  - {{rom: 256, name: top, at: FF00-FFFF, waits: {rom}}}
ports:
  - {{device: lamps, name: lamps, at: 30, waits: 2}}
"""


@cache
def machine(rom: int = 0, ram: int = 0) -> Machine:
    """The board in a machine, to be used again."""
    return Machine.from_text(_BOARD.format(rom=rom, ram=ram), trace=10)


def image_of(text: str) -> Image:
    """A program of which the routine R is asked."""
    return assemble(f" ORG 100H\n{text}\n", "routine.asm").image


def followed(
    image: Image, rom: int = 0, ram: int = 0, at_most: Mapping[str, int] | None = None
) -> Result:
    """What its routine R comes to."""
    board = fit(read_board(_BOARD.format(rom=rom, ram=ram), "bench.yaml"))
    limits = {image.symbols[name]: passes for name, passes in (at_most or {}).items()}
    return Analysis(Ground(board, image), BoardWaits(board), limits).routine(image.symbols["R"])


def span(result: Result) -> tuple[int, int | None]:
    """Least and most in T-states."""
    ways = result.ways
    assert ways is not None
    return ways.least.t, None if ways.most is None else ways.most.t


def measured(image: Image, rom: int = 0, ram: int = 0, **given: Unpack[Given]) -> int:
    """T-states of a call of R."""
    on = machine(rom, ram)
    on.load(image)
    return call(on, "R", image.symbols["R"], given, 50_000_000).t_states
