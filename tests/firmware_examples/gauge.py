"""A tide gauge to talk to: the saltmarsh board with the firmware it ships with."""

from __future__ import annotations

from fractions import Fraction

import yaml

from emu85.board import SerialLine
from emu85.board.shelf import find_board
from emu85.machine import Machine

PROMPT = b"tide> "
PATIENCE = 15
"""Seconds of board time within which every answer is complete."""


def bit_time() -> Fraction:
    """T-states of a bit, worked out from the words of the board file alone."""
    text = find_board("saltmarsh").read_text("utf-8")
    board = yaml.safe_load(text)
    number, unit = board["crystal"].split()
    assert unit == "MHz"
    baud: int = board["serial"]["baud"]
    return Fraction(number) * 1_000_000 / 2 / baud


class Gauge:
    """Types at the board and reads what comes back."""

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

    def greeting(self) -> str:
        """Run from power-on to the first prompt."""
        return self.listen()

    def listen(self, after: int = 0) -> str:
        """Run until a prompt is the last thing received; what came, without it."""
        end = self.machine.seconds + PATIENCE
        while len(self.line.received) <= after or not self.line.received.endswith(PROMPT):
            assert self.machine.seconds < end, bytes(self.line.received)
            self.machine.run(seconds=0.02)
        return self.line.received[after : -len(PROMPT)].decode("ascii")

    def ask(self, keys: str) -> str:
        """Type a line and Enter; everything that comes back, echo first, prompt last left out."""
        before = len(self.line.received)
        self.line.send(keys.encode("ascii") + b"\r")
        while not self.line.idle:
            self.machine.run(seconds=0.005)
        return self.listen(before)

    def answer(self, keys: str) -> str:
        """Type a line of plain characters; the answer without its echo."""
        echo, answer = self.ask(keys).split("\r\n", 1)
        assert echo == keys
        return answer

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
