"""All that was done to a machine from outside since power-on, to be done again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from emu85.board.deeds import Deed
from emu85.board.schedule import NEVER
from emu85.firmware.image import Image, Segment

if TYPE_CHECKING:
    from emu85.machine import Machine


class Entry(NamedTuple):
    """A deed, and when it was done; ``t`` in T-states."""

    t: int
    deed: Deed


class Journal:
    """Deeds in order, and how many of them have been done at the machine's present moment.

    Attributes:
        entries: in order of time.
        done: so many of them have been done; the others are still to come.
    """

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.done = 0

    def add(self, t: int, deed: Deed) -> None:
        """Something new was done at ``t``: what was still to come will not come."""
        del self.entries[self.done :]
        self.entries.append(Entry(t, deed))
        self.done += 1

    @property
    def next_t(self) -> int:
        """When the next deed is to be done again, ``NEVER`` if none is."""
        return self.entries[self.done].t if self.done < len(self.entries) else NEVER

    def catch_up(self, machine: Machine, resets_before: int = NEVER) -> None:
        """Do again what is due.

        Args:
            resets_before: a reset at this T-state is left to come, and what follows it: it
                takes time, so the moment before it is another.
        """
        while self.next_t <= machine.t:
            entry = self.entries[self.done]
            if entry.deed.kind == "reset" and entry.t >= resets_before:
                return
            self.done += 1
            do(machine, entry.deed)


def do(machine: Machine, deed: Deed) -> None:
    """Do to a machine at rest what a deed says.

    Raises:
        UserError: it is no deed that can be done to this machine.
    """
    board = machine.board
    match deed:
        case Deed("send", (str(end), bytes(data))):
            board.serial_ends[end].send(data)
        case Deed("break", (str(end), int(bits))):
            board.serial_ends[end].send_break(bits)
        case Deed("adjust", (str(device), str(control), str(text))):
            board.adjust(device, control, text)
        case Deed("poke", (list(bytes_at),)):
            board.poke_all(_numbers(bytes_at))
        case Deed("port", (int(port), int(value))):
            board.put_port(port, value)
        case Deed("program", (list(segments),)):
            board.program(_image(segments))
        case Deed("cells", (list(cells),)):
            for cell, value in _numbers(cells):
                machine.registers.state[cell] = value
        case Deed("stop", ("drop", int(number))):
            machine.drop_stop(number)
        case Deed("stop", ("rest", int(number))):
            machine.rest_stop(number)
        case Deed("stop", ("wake", int(number))):
            machine.wake_stop(number)
        case Deed("reset", ()):
            machine.reset()
        case Deed("pace ended", ()):
            machine.end_pace()
        case _:
            raise ValueError(f"no deed: {deed!r}")


def _numbers(pairs: list[tuple[int, int]] | list[tuple[int, bytes]]) -> list[tuple[int, int]]:
    return [(at, value) for at, value in pairs if isinstance(value, int)]


def _image(segments: list[tuple[int, int]] | list[tuple[int, bytes]]) -> Image:
    parts = [Segment(start, data) for start, data in segments if isinstance(data, bytes)]
    return Image(tuple(parts), source="the journal")
