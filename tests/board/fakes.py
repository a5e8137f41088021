"""A machine's side of a board, with no CPU in it: time moves when a test says so."""

from __future__ import annotations

from emu85.board import Board, Schedule, fit, read_board
from emu85.board.host import Reached, StopListener
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import INDEX_MASK, IO_BASE, MapBit
from emu85.stops import StopSet

MINIMAL = """\
name: bare
crystal: 4 MHz
memory:
  - rom: 2K
    name: program
    at: 0000
"""


class FakeHost:
    """Keeps every level that the board drives, with its T-state."""

    def __init__(self) -> None:
        self.schedule = Schedule()
        self.driven: list[tuple[int, Line, int]] = []
        self.stops = StopSet()
        self.stop_listeners: list[StopListener] = []
        self.transfers: list[tuple[Cycle, int, int | None]] = []
        self.asked = 0
        self.pace = 0
        self.notes: list[tuple[int, str, str]] = []

    def drive(self, line: Line, level: int) -> None:
        self.driven.append((self.schedule.now, line, level))

    def reached(self, kind: Cycle, address: int) -> Reached:
        return Reached(0, answers=True)

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        self.transfers.append((kind, address, data))
        return 0xA5 if data is None else data

    def note(self, description: str, where: str) -> None:
        self.notes.append((self.schedule.now, description, where))

    def ask_hold(self) -> None:
        self.asked += 1

    def ask_pace(self, steps: int) -> None:
        self.pace = steps

    def ask_full_speed(self) -> None:
        self.pace = 0

    def of(self, line: Line) -> list[tuple[int, int]]:
        """(T-state, level) of one line, in order."""
        return [(t, level) for t, each, level in self.driven if each is line]


class Bench:
    """A powered board, and bus cycles on it by the rules of ``cpu.layout``."""

    def __init__(self, text: str, file: str = "bench.yaml") -> None:
        self.host = FakeHost()
        self.board: Board = fit(read_board(text, file))
        self.board.connect(self.host)
        self.board.power()

    def run_to(self, t: int) -> None:
        """Let every event up to and including T-state ``t`` happen."""
        self.host.schedule.run_until(t + 1)
        self.host.schedule.now = t

    def word(self, index: int) -> int:
        return int(self.board.map[index])

    def has(self, index: int, bit: MapBit) -> bool:
        return bool(self.word(index) & bit)

    def read(self, index: int) -> int:
        if self.has(index, MapBit.READ_EXIT):
            return self.board.readers[index]()
        return int(self.board.store[self.word(index) & INDEX_MASK]) & 0xFF

    def write(self, index: int, value: int) -> None:
        word = self.word(index)
        if not word & (MapBit.ROM | MapBit.NO_WRITER):
            self.board.store[word & INDEX_MASK] = value
        if word & MapBit.WRITE_EXIT:
            self.board.writers[index](value)

    def port_in(self, port: int) -> int:
        return self.read(IO_BASE + port)

    def port_out(self, port: int, value: int) -> None:
        self.write(IO_BASE + port, value)
