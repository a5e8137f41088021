"""What somebody saw at the console, as expectations of a recording.

An exact recording pins all that the machine showed after each line: the last machine
cycle, registers, the T-state.  The usual one is for builds to come and pins what somebody
would count on: stops and addresses reached, what was asked for, what the serial ends have
sent, findings.  Where a run for a time ended is an accident: there neither the machine
cycle nor the PC is told.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING

from emu85.board.device import Read
from emu85.bus.lines import NAMES
from emu85.console.lines_done import DoneLine
from emu85.cpu.layout import IO_BASE
from emu85.errors import UserError
from emu85.machine import Held, Reason
from emu85.rehearsal import looks
from emu85.rehearsal.loosened import exact_patterns, loose_patterns
from emu85.rehearsal.naming import Names
from emu85.rehearsal.overheard import shown_again
from emu85.rehearsal.patterns import quoted, quoted_bytes
from emu85.rehearsal.settled import settled

if TYPE_CHECKING:
    from emu85.console.session import Session
    from emu85.stops import Stop

_CHANGING = ("put", "reset", "power", "load")
"""Words after which the machine may stand otherwise though it has not moved."""
_STARTS = ("reset", "power")
"""Words after which the place where it stands is none of a timed hold any more."""
_REACHED = (Reason.STOP, Reason.ADDRESS, Reason.HALTED)
_BACK_TO_A_PLACE = ("back stop", "back write ADDRESS")
_BACK_BY_COUNT = ("back [COUNT]", "back instruction [COUNT]")
_ADDRESS = re.compile(r"\b[0-9A-F]{4}\b")
_MOST_ROWS = {True: 40, False: 12}
"""Lines of one look that are pinned, in an exact recording and in the usual one."""


class Seen:
    """Words expectations on one session's machine.

    Attributes:
        names: addresses as the user writes them.
    """

    def __init__(self, session: Session, *, exact: bool) -> None:
        self.names = Names(session.machine, digits_only=exact)
        self._session = session
        self._machine = session.machine
        self._is_exact = exact
        self._heard = dict.fromkeys(self._machine.board.serial_ends, 0)
        self._findings: list[str] = []
        self._is_accidental = False

    def beginning(self) -> Iterator[str]:
        """Expectations on what the machine had come to when the recording began."""
        yield from self._state() if self._is_exact else self._settled_lines()

    def note(self, done: DoneLine) -> None:
        """Take note of a line's symbols, and of whether it matters where it has ended."""
        self.names.learn(done.text)
        form = done.command.form if done.command else None
        reason = done.held.reason if done.held else None
        if form and form.usage in _BACK_BY_COUNT:
            return  # as far from a place as before
        is_placed = form and (form.word in _STARTS or form.usage in _BACK_TO_A_PLACE)
        if is_placed or reason in _REACHED:
            self._is_accidental = False
        elif done.ended != done.began and (done.is_free or reason is None):
            self._is_accidental = True

    def after(self, done: DoneLine) -> Iterator[str]:
        """Expectations on the machine as it is after a line that has been noted."""
        command = done.command
        word = command.form.word if command else ""
        moved = done.ended != done.began or done.held is not None
        if moved or command is None or word in _CHANGING:
            yield from self._motion(done)
        if command is not None:
            yield from _LOOKS.get(word, Seen._nothing)(self, done)
            yield from self._shown(done)
        findings = looks.findings(self._machine)
        if findings != self._findings:
            yield self.findings_line()

    def end(self) -> Iterator[str]:
        """What is still to be told when the recording ends."""
        if not self._is_exact and self._has_more():
            yield from self._settled_lines()
        yield self.findings_line()

    def _has_more(self) -> bool:
        ends = self._machine.board.serial_ends
        return any(len(end.received) > self._heard[name] for name, end in ends.items())

    def findings_line(self) -> str:
        """The expectation on findings."""
        self._findings = looks.findings(self._machine)
        if not self._findings:
            return "see no findings"
        texts = [quoted(text) for text in self._findings]
        if not self._is_exact:  # many of them may become the same
            texts = list(dict.fromkeys(_ADDRESS.sub("????", text) for text in texts))
        return f"see findings {' '.join(texts)}"

    # --- after a motion ---------------------------------------------------------

    def _motion(self, done: DoneLine) -> Iterator[str]:
        stops = numbered_stops(done.held)
        if self._is_exact:
            if stops:
                yield f"see held by stop {stops[0].number} on {self._bus_text()}"
            elif done.ended != done.began:
                yield from self._last_cycle()
            yield from self._state()
            return
        yield from self._reached(done, stops)
        yield from self._settled_lines()

    def _reached(self, done: DoneLine, stops: list[Stop]) -> Iterator[str]:
        """Where a motion has ended, unless that is an accident."""
        held = done.held
        if held is None:
            yield from self._gone_back(done)
            return
        if stops:
            yield f"see held by stop {stops[0].number}{self._in_cycle(stops[0])}"
        elif held.reason is Reason.ADDRESS:
            yield f"see PC {self.names.text(self._machine.registers.pc)}"
        elif held.reason is Reason.HALTED:
            yield "see halted"
        elif done.ended != done.began and not self._is_accidental:
            yield from self._last_cycle()

    def _gone_back(self, done: DoneLine) -> Iterator[str]:
        usage = done.command.form.usage if done.command else ""
        is_back = usage in _BACK_TO_A_PLACE or usage in _BACK_BY_COUNT
        if is_back and done.ended != done.began and not self._is_accidental:
            yield from self._last_cycle()

    def _in_cycle(self, stop: Stop) -> str:
        """The machine cycle in which a stop has hit, if its condition is about cycles."""
        last = stop.text.rpartition(" then ")[2]
        is_about_cycles = last.startswith("on ") and not last.startswith("on any")
        return f" on {self._bus_text()}" if is_about_cycles else ""

    def _last_cycle(self) -> Iterator[str]:
        """The last machine cycle, unless the trace has forgotten it, as at power-on."""
        if len(self._machine.trace):
            yield f"see bus {self._bus_text()}"

    def _bus_text(self) -> str:
        return looks.bus(self._machine, self.names.text, self.names.port)

    def _state(self) -> Iterator[str]:
        if self._machine.registers.halted:
            yield "see halted"
        yield f"see {looks.registers(self._machine)}"
        if self._machine.t:
            yield f"see {self._machine.t} T since power"
        for name, end in self._machine.board.serial_ends.items():
            yield from self._heard_lines(name, len(end.received), is_all=True)

    def _settled_lines(self) -> Iterator[str]:
        """What has come, as far as it did not come in the very moment of the hold."""
        for name, end in self._machine.board.serial_ends.items():
            before = min(self._heard[name], len(end.received))
            count = settled(end, before, self._machine.t)
            is_all = count == len(end.received)
            yield from self._heard_lines(name, count, is_all=is_all)

    def _heard_lines(self, name: str, count: int, *, is_all: bool) -> Iterator[str]:
        """Expectations on the characters of a serial end up to the ``count``-th."""
        ends = self._machine.board.serial_ends
        received = ends[name].received
        before = min(self._heard[name], len(received))
        self._heard[name] = count
        source = f"from {quoted_name(name)} " if len(ends) > 1 else ""
        for line in looks.lines_of(bytes(received[before:count])):
            yield f"heard {source}{quoted_bytes(line)}"
        if is_all:
            yield "heard nothing" + (f" {source}".rstrip())

    # --- what a look at the board tells ------------------------------------------

    def _nothing(self, done: DoneLine) -> Iterator[str]:
        return iter(())

    def _registers(self, done: DoneLine) -> Iterator[str]:
        machine = self._machine
        if self._is_exact:
            yield f"see {looks.registers(machine)}"
        else:
            yield f"see {looks.registers(machine, looks.ALL[:-1])}"
            if not self._is_accidental:
                yield f"see PC {self.names.text(machine.registers.pc)}"
        yield f"see interrupts {'enabled' if machine.registers.ie else 'disabled'}"

    def _memory(self, done: DoneLine) -> Iterator[str]:
        assert done.command is not None
        values = done.command.values
        if "range" in values:
            low, high = values["range"]
        else:
            low = values["address"]
            high = min(0xFFFF, low + values.get("count", 128) - 1)
        begin = self.names.text(low)
        for address, row in looks.memory(self._machine, low, high):
            at = self.names.behind(begin, address - low)
            yield f"see mem {at} {looks.hexadecimal(row)}"

    def _ports(self, done: DoneLine) -> Iterator[str]:
        board = self._machine.board
        for at in board.registers():
            if at.index >= IO_BASE and at.register.read is not Read.NONE:
                yield f"see port {at.index - IO_BASE:02X} {board.peek(at.index):02X}"
        for name, device in board.devices.items():
            yield f"see device {quoted_name(name)} {quoted(device.state())}"

    def _lines(self, done: DoneLine) -> Iterator[str]:
        word = int(self._machine.lines)
        for line, name in NAMES.items():
            yield f"see line {name} {int(bool(word & line))}"

    def _bus(self, done: DoneLine) -> Iterator[str]:
        if self._is_exact or not self._is_accidental:
            yield from self._last_cycle()

    def _device(self, done: DoneLine) -> Iterator[str]:
        assert done.command is not None
        values = done.command.values
        name = values.get("device") or values["button"]
        state = self._machine.board.devices[name].state()
        yield f"see device {quoted_name(name)} {quoted(state)}"

    def _findings_asked(self, done: DoneLine) -> Iterator[str]:
        yield self.findings_line()

    def _shown(self, done: DoneLine) -> Iterator[str]:
        """Lines that the console showed, where no other expectation says what."""
        assert done.command is not None
        usage = done.command.form.usage
        if usage not in (SHOWN if self._is_exact else SHOWN - _OF_ONE_BUILD):
            return
        if not self._is_exact and self._is_accidental and _is_about_the_place(done):
            return
        try:
            lines = shown_again(self._session, done.text)
        except UserError:
            return
        rows = exact_patterns(lines) if self._is_exact else loose_patterns(_rows(lines))
        for pattern in [*dict.fromkeys(rows)][: _MOST_ROWS[self._is_exact]]:
            yield f"see shown {pattern}"


_LOOKS: Mapping[str, Callable[[Seen, DoneLine], Iterator[str]]] = {
    "regs": Seen._registers,
    "mem": Seen._memory,
    "ports": Seen._ports,
    "lines": Seen._lines,
    "bus": Seen._bus,
    "press": Seen._device,
    "set": Seen._device,
    "findings": Seen._findings_asked,
}
"""By console word, what it showed."""
_OF_ONE_BUILD = frozenset(
    {"duration ADDRESS", "spent", "spent calls", "spent labels", "spent ports", "spent interrupts"}
    | {"spent code [ADDRESS] [COUNT]", "wave [COUNT]", "wave COUNT pins PIN..."}
)
"""Forms that show little but T-states and levels, which move with every build."""
SHOWN = _OF_ONE_BUILD | {
    *("board", "budget", "budget CHIP", "bus COUNT", "card", "card INSTRUCTION"),
    *("code [ADDRESS] [COUNT]", "find CONDITION", "stops", "symbols [NAME]", "who ADDRESS"),
}
"""Forms whose lines are pinned as they are shown.  They only look."""
_OF_THE_PLACE = {"bus": "", "card": "instruction", "code": "address"}
"""Words that show the place where the machine stands, if this slot has no value."""
_ROW = re.compile(r"\s*\d+ [A-Z]{2,}\s")
"""A machine cycle of the trace, one a row."""


def _is_about_the_place(done: DoneLine) -> bool:
    assert done.command is not None
    slot = _OF_THE_PLACE.get(done.command.form.word)
    return slot is not None and slot not in done.command.values


def _rows(lines: list[str]) -> list[str]:
    """Of machine cycles of the trace the rows alone, without what heads and sums them up."""
    return [line for line in lines if _ROW.match(line)] or lines


def numbered_stops(held: Held | None) -> list[Stop]:
    """The stops of a hold that the user knows by their numbers."""
    return [stop for stop in held.stops if stop.number] if held else []


def quoted_name(name: str) -> str:
    """A name as one word of a line."""
    return f'"{name}"' if any(c.isspace() or c in "#'" for c in name) else name
