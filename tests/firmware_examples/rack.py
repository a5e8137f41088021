"""The gantry board with the firmware it ships with, to talk to."""

from __future__ import annotations

from emu85.board.serial import Terminal
from emu85.board.shelf import find_board, find_firmware
from emu85.machine import Machine

PROMPT = b"gantry> "
PATIENCE = 5
"""Seconds of board time within which every answer is complete."""


class Rack:
    """Types at the 8251A and reads what comes back."""

    def __init__(self, *changes: tuple[str, str]) -> None:
        """``changes`` are texts of the board file and what stands in their place."""
        text = find_board("gantry").read_text("utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        self.machine = Machine.from_text(text, trace=2_000_000)
        firmware = find_firmware("gantry.asm")
        assert firmware is not None
        self.machine.load(firmware)
        line = self.machine.board.serial_ends["usart"]
        assert isinstance(line, Terminal)
        self.line = line

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
        """Type a line and Enter; all that comes back, echo first, without the prompt."""
        before = len(self.line.received)
        self.line.send(keys.encode("ascii") + b"\r")
        while not self.line.idle:
            self.machine.run(seconds=0.002)
        return self.listen(before)

    def answer(self, keys: str) -> str:
        """The same without the echo."""
        echo, answer = self.ask(keys).split("\r\n", 1)
        assert echo == keys
        return answer

    def state(self, device: str) -> str:
        """How a device stands."""
        return self.machine.board.devices[device].state()

    def do(self, device: str, control: str, value: str = "") -> None:
        """Work a device by hand and let a quarter of a second pass."""
        self.machine.board.adjust(device, control, value)
        self.machine.run(seconds=0.25)
