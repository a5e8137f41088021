"""Typing at firmware that answers with a prompt."""

from __future__ import annotations

from typing import ClassVar

from emu85.board.serial import Terminal
from emu85.machine import Machine


class Dialogue:
    """Types at a board's serial line and reads what comes back.

    Class attributes:
        prompt: what ends every answer.
        patience: seconds of board time within which every answer is complete.
        typing: seconds of board time between two looks at whether a line has gone out.
    """

    prompt: ClassVar[bytes]
    patience: ClassVar[float]
    typing: ClassVar[float]

    machine: Machine

    @property
    def line(self) -> Terminal:
        """The far end of the line."""
        raise NotImplementedError

    def greeting(self) -> str:
        """Run from power-on to the first prompt."""
        return self.listen()

    def listen(self, after: int = 0) -> str:
        """Run until a prompt is the last thing received; what came, without it."""
        end = self.machine.seconds + self.patience
        received = self.line.received
        while len(received) <= after or not received.endswith(self.prompt):
            assert self.machine.seconds < end, bytes(received)
            self.machine.run(seconds=0.02)
        return received[after : -len(self.prompt)].decode("ascii")

    def ask(self, keys: str) -> str:
        """Type a line and Enter; all that comes back, echo first, without the prompt."""
        before = len(self.line.received)
        self.line.send(keys.encode("ascii") + b"\r")
        while not self.line.idle:
            self.machine.run(seconds=self.typing)
        return self.listen(before)

    def answer(self, keys: str) -> str:
        """Type a line of plain characters; the answer without its echo."""
        echo, answer = self.ask(keys).split("\r\n", 1)
        assert echo == keys
        return answer
