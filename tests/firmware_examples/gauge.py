"""A tide gauge to talk to: the saltmarsh board with the firmware it ships with."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import yaml
from numpy.typing import NDArray

from emu85.board import SerialLine
from emu85.board.shelf import find_board
from emu85.bus.lines import Line
from emu85.machine import Machine
from tests.firmware_examples.dialogue import Dialogue


def bit_time() -> Fraction:
    """T-states of a bit, worked out from the words of the board file alone."""
    text = find_board("saltmarsh").read_text("utf-8")
    board = yaml.safe_load(text)
    number, unit = board["crystal"].split()
    assert unit == "MHz"
    baud: int = board["serial"]["baud"]
    return Fraction(number) * 1_000_000 / 2 / baud


def sod_edges(machine: Machine) -> NDArray[np.int64]:
    """T-states at which SOD changed: the end of the SIM, where the next cycle begins."""
    trace = machine.trace.all()
    level = (trace["lines"] & Line.SOD) != 0
    changed = np.flatnonzero(level[1:] != level[:-1]) + 1
    return trace["t"][changed].astype(np.int64)


class Gauge(Dialogue):
    """Types at the board and reads what comes back."""

    prompt = b"tide> "
    patience = 15
    typing = 0.005

    def __init__(self, *, trace: int = 2_000_000, gap: str | None = None) -> None:
        text = find_board("saltmarsh").read_text("utf-8")
        if gap is not None:
            assert "gap: 30 ms" in text
            text = text.replace("gap: 30 ms", f"gap: {gap}")
        self.machine = Machine.from_text(text, trace=trace)
        assert self.machine.board.firmware is not None
        self.machine.load(self.machine.board.firmware)

    @property
    def line(self) -> SerialLine:
        assert self.machine.serial is not None
        return self.machine.serial

    def variable(self, name: str) -> int:
        """A byte of the firmware's RAM by its label."""
        return self.machine.memory[self.machine.symbols[name]]

    def wait(self, seconds: float) -> None:
        """Let board time pass, then on to a moment between two looks at SID."""
        self.machine.run(seconds=seconds)
        self.machine.run(seconds=1, until=self.machine.symbols["LOOK"])

    def press_key(self) -> None:
        """Push the key on the lid and let it go again."""
        self.machine.board.adjust("key", "press")
        self.wait(0.5)

    def set_level(self, level: int) -> None:
        """Hold the float at a level and wait until the firmware has seen it."""
        self.machine.board.adjust("float", "level", f"{level:02X}")
        self.wait(1.1)
