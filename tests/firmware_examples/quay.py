"""The monitor ROM on either of its boards, to talk to."""

from __future__ import annotations

import re

from emu85.board.serial import SerialLine, Terminal
from emu85.board.shelf import find_board, find_firmware
from emu85.firmware import assemble
from emu85.machine import Machine
from tests.firmware_examples.dialogue import Dialogue

BOARDS = ("gantry", "saltmarsh")
RAM = {"gantry": 0x8000, "saltmarsh": 0xA000}
OWN = {"gantry": 0xFB00, "saltmarsh": 0xBC00}
"""Where the monitor's own memory begins."""
FIRST_SP = {"gantry": 0xFF80, "saltmarsh": 0xBF80}
CODE_IN_RAM = ("battery: yes", "battery: yes\n    code: yes")
"""A change of saltmarsh, whose logger never runs from RAM."""
NO_GAP = ("gap: 30 ms", "gap: 0 ms")
"""Another one: characters follow one another without a pause."""


class Quay(Dialogue):
    """Types at the monitor and reads what comes back."""

    prompt = b"quay> "
    patience = 12
    typing = 0.002

    def __init__(self, name: str, *changes: tuple[str, str]) -> None:
        """``changes`` are texts of the board file and what stands in their place."""
        self.name = name
        board = find_board(name)
        text = board.read_text("utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        self.machine = Machine.from_text(text, file=str(board), trace=1_000_000)
        firmware = find_firmware(f"quay-{name}.asm")
        assert firmware is not None
        self.machine.load(firmware)
        self.ram = RAM[name]

    @property
    def line(self) -> SerialLine | Terminal:
        ends = self.machine.board.serial_ends
        return ends["usart" if self.name == "gantry" else "serial"]

    def here(self, text: str) -> str:
        """A text with addresses of this board: in ``R123``, R is the first digit of its RAM."""
        return re.sub(r"\bR(?=[0-9A-F]{3})", f"{self.ram >> 12:X}", text)

    def tell(self, keys: str) -> list[str]:
        """The lines of an answer."""
        return self.answer(keys).splitlines()

    def program(self, source: str) -> None:
        """Assemble a program to the start of RAM and put it there, whatever sends it."""
        image = assemble(f" ORG {self.ram:05X}H\n{source}").image
        for segment in image.segments:
            self.machine.memory[segment.start : segment.end] = segment.data

    def until(self, text: str) -> None:
        """Run until the line has sent this."""
        end = self.machine.seconds + self.patience
        while text.encode() not in self.line.received[-len(text) - 4 :]:
            assert self.machine.seconds < end, bytes(self.line.received)
            self.machine.run(seconds=0.001)

    def take(self, file: str) -> list[str]:
        """Send a HEX file after the word that asks for it; the report's lines."""
        for key in "take\r":  # with time for each echo, whatever the board's gap is
            self.line.send(key.encode())
            self.machine.run(seconds=0.04)
        self.until("control-C gives up\r\n")
        before = len(self.line.received)
        self.line.send(file.encode("ascii"))
        while not self.line.idle:
            self.machine.run(seconds=0.02)
        return self.listen(before).splitlines()
