"""A board under test: code put on it, routines called, memory and serial lines at hand."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Unpack

from emu85.board import BoardDescription, load_board, read_board, shelf
from emu85.errors import UserError, nearest
from emu85.firmware import Image, assemble
from emu85.firmware.image import joined
from emu85.firmware.reader import SUFFIXES
from emu85.machine import Machine
from emu85.profile.code import instructions_of
from emu85.stops import Stop
from emu85.testing.calling import LIMIT, Given, Outcome, call
from emu85.testing.failure import told_at_the_test
from emu85.testing.given import Data, bytes_of, number_of, places_of, t_states_of, text_of
from emu85.testing.serial import SerialEnd
from emu85.wording import counted

PLAIN = """
name: plain
about: ROM and RAM, for a few lines of assembly
crystal: 6.144 MHz
memory:
  - {rom: 32K, name: program, at: 0000-7FFF}
  - {ram: 16K, name: work, at: 8000-BFFF, code: yes}
"""
"""The board of snippets that ask for none; they may build code in its RAM."""


class BoardUnderTest:
    """A powered board with what a test asks of it.

    Places are addresses, or names of the firmware's symbols in either case.

    Attributes:
        machine: all the rest: running, registers, stops, findings, the trace.
    """

    def __init__(self, machine: Machine, firmware: Image | None = None) -> None:
        """``firmware``: what the machine has been loaded with."""
        self.machine = machine
        self._instructions = instructions_of(firmware) if firmware else {}
        self._heard = dict.fromkeys(machine.board.serial_ends, 0)

    def __repr__(self) -> str:
        return f"<{self.machine.board.name} at T-state {self.machine.t}>"

    # --- code and memory -----------------------------------------------------------

    @told_at_the_test
    def assemble(self, text: str, at: int | str | None = None, *, over: bool = False) -> Image:
        """Put assembly into ROM or RAM; its bytes count as code.

        It may use all symbols there are, and its own come to them, in place of others
        of the same name.

        Args:
            at: where it goes if it has no ORG; 0 if not given.
            over: what stands there already is meant to be replaced.

        Raises:
            UserError: mistakes in it; no memory there, or code already.
        """
        start = 0 if at is None else self.address(at)
        machine = self.machine
        image = assemble(text_of(text), "snippet", outside=machine.symbols, start=start).image
        if not over:
            self._refuse_overlap(image)
        machine.board.program(image)
        gone = {name.casefold() for name in image.symbols}
        kept = {n: at for n, at in machine.symbols.items() if n.casefold() not in gone}
        machine.symbols = {**kept, **image.symbols}
        machine.equated = (machine.equated & kept.keys()) | image.equated
        machine.runs = joined([*machine.runs, *image.runs])
        self._replace_instructions(image)
        return image

    @told_at_the_test
    def address(self, place: int | str) -> int:
        """The address of a place.

        Raises:
            UserError: no such symbol, or no address.
        """
        if isinstance(place, str):
            by_folded = {name.casefold(): at for name, at in self.machine.symbols.items()}
            if place.casefold() not in by_folded:
                raise self._no_symbol(place)
            return by_folded[place.casefold()]
        address = number_of("a place", place, "an address, or the name of a symbol")
        if not 0 <= address <= 0xFFFF:
            raise UserError(f"{address:X} is no address", expected="0 to FFFF")
        return address

    @told_at_the_test
    def read(self, place: int | str, count: int = 1) -> bytes:
        """Bytes of memory, without side effects.

        Raises:
            UserError: no such place, or bytes beyond FFFF.
        """
        start = self._room(place, count)
        return self.machine.memory[start : start + count]

    @told_at_the_test
    def write(self, place: int | str, data: Data) -> None:
        """Put bytes into memory, ROM as well.

        Raises:
            UserError: no such place, no memory there, or what is no byte.
        """
        found = bytes_of(data)
        start = self._room(place, len(found))
        self.machine.memory[start : start + len(found)] = found

    # --- doing ---------------------------------------------------------------------

    @told_at_the_test
    def call(
        self,
        routine: int | str,
        /,
        *,
        memory: Mapping[int | str, Data] | None = None,
        limit: int | str = LIMIT,
        **registers: Unpack[Given],
    ) -> Outcome:
        """Call a routine and run it to its return.

        Registers, SP, PC, interrupt enable and masks are then what they were before, so
        that the board can run on; time has passed, and memory is as the routine left it.

        Args:
            memory: bytes put there first.
            limit: time it may take: T-states, or a text such as ``"20 ms"``.
            registers: registers, pairs and flags by name, set before its first opcode
                fetch; ``sp`` is the level before the call.

        Raises:
            UserError: no such routine, register, place or value.
            BoardFailure: it does not return as it should, or a stop of the test's own
                holds it.
        """
        start = self.address(routine)
        most = t_states_of(limit, self.machine.clock_hz, least=1)
        for place, data in places_of({} if memory is None else memory).items():
            self.write(place, data)
        name = routine if isinstance(routine, str) else f"the routine at {routine:04X}"
        return call(self.machine, name, start, registers, most, self._instructions)

    @told_at_the_test
    def stop(self, condition: str) -> Stop:
        """Arm a stop, worded as at the console; it may name symbols: ``on OF at DELAY``.

        ``machine.run()`` is held by it, and tells so; a call that it holds fails.

        Returns:
            the stop, for ``machine.stops.drop(stop.number)``.

        Raises:
            UserError: a condition that cannot be taken.
        """
        return self.machine.stops.add(text_of(condition), symbols=self.machine.symbols)

    @cached_property
    def ends(self) -> Mapping[str, SerialEnd]:
        """The far ends of the board's serial lines, by name."""
        names = self.machine.board.serial_ends
        return {name: SerialEnd(self.machine, name, self._heard) for name in names}

    @property
    @told_at_the_test
    def serial(self) -> SerialEnd:
        """The far end of its serial line; of several, that at which the console begins.

        Raises:
            UserError: it has none.
        """
        for end in self.ends.values():
            return end
        raise UserError(
            f"{self.machine.board.name} has no serial line",
            expected="a board with 'serial' or a device that has a serial end",
        )

    # -------------------------------------------------------------------------------

    def _no_symbol(self, name: str) -> UserError:
        names, what = self.machine.symbols, f"there is no symbol {name!r}"
        if names:
            of_all = f"one of the firmware's {counted(len(names), 'symbol')}"
            return UserError(what, expected=of_all, nearest=nearest(name, names))
        if self.machine.runs:
            return UserError(f"{what}: the firmware has none", expected="an address")
        return UserError(f"{what}: the board has no firmware", expected="an address")

    def _room(self, place: int | str, count: int) -> int:
        start, count = self.address(place), number_of("the count", count)
        if not 0 <= count <= 0x10000 - start:
            raise UserError(
                f"{counted(count, 'byte')} from {start:04X} on", expected="bytes up to FFFF"
            )
        return start

    def _replace_instructions(self, image: Image) -> None:
        for segment in image.segments:
            for at in range(segment.start, segment.end):
                self._instructions.pop(at, None)
        self._instructions |= instructions_of(image)

    def _refuse_overlap(self, image: Image) -> None:
        for segment in image.segments:
            for low, end in self.machine.runs:
                first, past = max(low, segment.start), min(end, segment.end)
                if first < past:
                    raise UserError(
                        f"code at {first:04X}-{past - 1:04X} already",
                        expected="another place (at=), or over=True to replace it",
                    )


@told_at_the_test
def put_up(
    board: str | Path | BoardDescription,
    firmware: str | Path | Image | None,
    *,
    at: int | None,
    trace: int,
    folder: Path,
) -> BoardUnderTest:
    """A board at power-on.  RAM on a battery begins like other RAM and is kept in no file.

    Args:
        board: a demo board's name, a board file, the text of one, or a description.
        firmware: an image or a file; the demo firmware's names are known.
        at: address of a binary.
        trace: machine cycles that it remembers.
        folder: where files are looked for first.

    Raises:
        UserError: a board or firmware that cannot be taken.
    """
    if number_of("trace", trace) < 1:
        raise UserError(f"trace cannot be {trace}", expected="1 or more machine cycles")
    if at is not None:
        at = number_of("at", at, "an address")
    machine = Machine.from_board(_description(board, folder).without_batteries(), trace=trace)
    if firmware is None:
        return BoardUnderTest(machine)
    read = firmware if isinstance(firmware, Image) else _file(firmware, folder)
    return BoardUnderTest(machine, machine.load(read, at=at))


def _description(board: str | Path | BoardDescription, folder: Path) -> BoardDescription:
    if isinstance(board, BoardDescription):
        return board
    if not isinstance(board, str | Path):
        raise UserError(
            f"the board cannot be {board!r}", expected="a name, a board file, or the text of one"
        )
    if isinstance(board, str) and "\n" in board:
        return read_board(board, "board text")
    beside = folder / board
    return load_board(beside if beside.is_file() else board)


def _file(firmware: str | Path, folder: Path) -> Path:
    if not isinstance(firmware, str | Path):
        raise UserError(f"the firmware cannot be {firmware!r}", expected="a file, or an image")
    written = str(firmware)
    if "\0" in written:
        return Path(firmware)  # its reader complains of it
    found = shelf.find_firmware(written, folder) or Path(firmware)
    if found.exists() or found.parent != Path():
        return found
    beside = [path.name for path in folder.glob("*") if path.suffix.casefold() in SUFFIXES]
    raise UserError(
        f"no firmware {written!r}",
        expected="a file beside the test, or demo firmware",
        nearest=nearest(written, [*beside, *shelf.firmware_names()]),
    )
