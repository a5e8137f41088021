"""The gantry board with the firmware it ships with, to talk to."""

from __future__ import annotations

from emu85.board.serial import SerialLine, Terminal
from emu85.board.shelf import find_board, find_firmware
from emu85.machine import Machine
from tests.firmware_examples.dialogue import Dialogue


class Rack(Dialogue):
    """Types at the 8251A and reads what comes back."""

    prompt = b"gantry> "
    patience = 5
    typing = 0.002

    def __init__(self, *changes: tuple[str, str]) -> None:
        """``changes`` are texts of the board file and what stands in their place."""
        board = find_board("gantry")
        text = board.read_text("utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        self.machine = Machine.from_text(text, file=str(board), trace=2_000_000)
        firmware = find_firmware("gantry.asm")
        assert firmware is not None
        self.machine.load(firmware)
        line = self.machine.board.serial_ends["usart"]
        assert isinstance(line, Terminal)
        self._line = line

    @property
    def line(self) -> Terminal:
        return self._line

    @property
    def second(self) -> SerialLine:
        """The far end of SID and SOD."""
        assert self.machine.board.serial is not None
        return self.machine.board.serial

    def state(self, device: str) -> str:
        """How a device stands."""
        return self.machine.board.devices[device].state()

    def do(self, device: str, control: str, value: str = "") -> None:
        """Work a device by hand and let a quarter of a second pass."""
        self.machine.board.adjust(device, control, value)
        self.machine.run(seconds=0.25)
