"""What chips cost that do nothing: the backplane with all of them, and its bare memory."""

from __future__ import annotations

import re
from collections.abc import Iterator

from emu85.board.shelf import find_board
from emu85.cpu.layout import IO_BASE
from emu85.firmware import assemble
from emu85.machine import Machine, Reason
from tests.bench.clock import side_by_side
from tests.bench.programs import COMPUTE
from tests.bench.report import Row

_LENGTH = 40_000_000
"""T-states of a run: thirteen seconds of board time."""


def gantry() -> Iterator[Row]:
    """The compute program: on memory alone, beside chips never touched, beside chips at rest.

    At rest means set up by the backplane's self-test, the baud clock running, interrupts
    disabled.
    """
    masked, pressed = at_rest(tick=True), at_rest(tick=False)
    masked.board.writers[IO_BASE + masked.symbols["PICMASK"]](0xFF)
    pressed.board.adjust("pad", "down", "5")
    machines = (
        Machine.from_text(bare_board()),
        Machine.from_board("gantry"),
        at_rest(tick=False),
        masked,
        at_rest(tick=True),
        pressed,
    )
    reached = side_by_side([_compute(m) for m in machines], _LENGTH)
    bare, untouched, still, quiet, ticking, held = reached
    yield Row("gantry's memory alone, computing", bare, "x")
    yield Row("all chips, not set up, to memory alone", untouched / bare, "", 0.5)
    yield Row("all chips set up, at rest, to memory alone", still / bare, "", 0.5)
    yield Row("with a 100 Hz tick that the 8259A masks", quiet / bare, "", 0.5)
    yield Row("with a 100 Hz tick at INTR", ticking / bare, "", note="interrupts disabled")
    yield Row("with a key held down at the 8279", held / bare, "")


def bare_board() -> str:
    """The backplane's board file with nothing but memory."""
    text = find_board("gantry").read_text("utf-8")
    return re.sub(r"^(ports|wired|lines|firmware):.*?(?=^\S|\Z)", "", text, flags=re.M | re.S)


def at_rest(*, tick: bool) -> Machine:
    """The backplane after its self-test, between two instructions, interrupts off."""
    machine = Machine.from_board("gantry")
    assert machine.board.firmware is not None
    machine.load(machine.board.firmware)
    if machine.run(seconds=5, until=machine.symbols["GETLINE"]).reason is not Reason.ADDRESS:
        raise RuntimeError("the self-test did not come to its end")
    if not tick:
        port = machine.symbols["COUNTS"]
        machine.board.writers[IO_BASE + port](0xB0)  # counter 2 waits for a count
    machine.registers.ie = False
    return machine


def _compute(machine: Machine) -> Machine:
    """Have it begin the compute program where it is, with no reset."""
    machine.load(assemble(COMPUTE, "bench.asm").image)
    machine.registers.pc = 0
    return machine
