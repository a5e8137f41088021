"""The machine: a board with its CPU, and time.

The machine owns the T-state counter.  It runs the compiled core in bursts that
end where a device must answer, where an event of a device is due, or where a
stop hits, and it serves each in order of board time; nothing here knows the
wall clock, so the same inputs give the same trace to the last bit.

    from emu85.machine import Machine

    machine = Machine.from_board("slate", firmware="lesson.asm")
    machine.stops.add("on MW at 8000-80FF")
    held = machine.run(seconds=0.01)
    print(held.reason, machine.trace[-1])
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple, Protocol, overload

import numpy as np

from emu85.board import Board, BoardDescription, SerialLine, fit, load_board, read_board
from emu85.board.host import Reached, StopListener
from emu85.board.schedule import NEVER, Schedule
from emu85.bus.cycles import IO_CYCLES, READS, STATES, Cycle
from emu85.bus.findings import Findings
from emu85.bus.lines import Line
from emu85.bus.trace import Trace

# Plain integers for what is looked at each time a device is asked: reading a member
# of an enumeration costs as much as the loop's own call.
from emu85.cpu.constants import (
    ANSWER,
    BUDGET,
    EXIT_DATA,
    EXIT_INDEX,
    EXIT_TYPE,
    HLDA,
    INA,
    LIMIT,
    LINES,
    SOD,
    X_BOUNDARY,
    X_BUDGET,
    X_HLDA,
    X_IDLE,
    X_LIMIT,
    X_READ,
    X_SOD,
    X_STOP,
    X_WRITE,
    T,
)
from emu85.cpu.layout import INDEX_MASK, IO_BASE, WAIT_MASK, WAIT_SHIFT, MapBit, State
from emu85.cpu.processor import Processor
from emu85.cpu.registers import Registers
from emu85.cpu.rows import FLAG_MASKS
from emu85.firmware import Image, read_image
from emu85.firmware.image import Run
from emu85.input_lines import InputLines
from emu85.isa import INSTRUCTIONS, Condition
from emu85.stops import Stop, StopSet

TRACE_SIZE = 1_000_000
"""Records a machine remembers unless told otherwise."""

_BURST = 8_000_000
"""Longest burst of the core in T-states, so that a request to hold is soon seen."""

_NO_BUDGET = 1 << 60

_PART = 2_000_000
"""T-states that the machine runs at most before its companions are called."""

_TOLD = X_WRITE | X_SOD
"""Exits after which the board is told what the CPU has put out."""
_OF_DEVICES = (X_READ, X_WRITE)
_OF_TIME = (X_LIMIT, X_IDLE)
"""Exits after which there is nothing to see to but what is due."""

_CALLS = {i.opcode for i in INSTRUCTIONS if any(c.register.name == "PCL" for c in i.cycles)}
"""Opcodes that push the PC: CALL, conditional calls, RST, RSTV."""


class Companion(Protocol):
    """Who goes along with a machine's motions and is called while it rests."""

    def begin(self) -> None:
        """A motion begins."""

    def next_t(self) -> int:
        """T-state at which the machine must rest for it; ``NEVER`` if at none."""

    def rest(self) -> None:
        """The machine rests, at the end of a motion or on the way."""

    def end(self) -> None:
        """The motion is over, even if by a mistake."""


class Reason(enum.Enum):
    """Why the machine holds."""

    STOP = "stop"
    """A stop hit in the last machine cycle."""
    LIMIT = "limit"
    """The time that was asked for has passed."""
    CYCLES = "cycles"
    """The machine cycles that were asked for are done."""
    INSTRUCTION = "instruction"
    """The next machine cycle begins an instruction, as was asked for."""
    ADDRESS = "address"
    """The next machine cycle is the opcode fetch at the address asked for."""
    HALTED = "halted"
    """Halted or held, and nothing that is scheduled can end it."""
    ASKED = "asked"
    """:meth:`Machine.ask_hold` was called."""
    PACE = "pace"
    """A device asked for a pace, in a run that was told to heed it."""


class Held(NamedTuple):
    """How a run ended.

    Attributes:
        t: T-state at which the next machine cycle will begin.
        stops: the stops that hit, if :attr:`Reason.STOP`.
    """

    reason: Reason
    t: int
    stops: tuple[Stop, ...] = ()


class Memory:
    """The memory space as the CPU sees it, without side effects on any device.

    ``memory[a]`` is a byte, ``memory[a:b]`` bytes; both can be assigned, ROM
    included.  Addresses are 0 to FFFF; assigning where no chip is raises UserError
    and changes nothing, and what is no byte, or not as many bytes as addresses, ValueError.
    """

    def __init__(self, board: Board) -> None:
        self._board = board

    @overload
    def __getitem__(self, at: int) -> int: ...
    @overload
    def __getitem__(self, at: slice) -> bytes: ...
    def __getitem__(self, at: int | slice) -> int | bytes:
        peek = self._board.peek
        if isinstance(at, slice):
            return bytes(peek(a) for a in _addresses(at))
        return peek(_address(at))

    @overload
    def __setitem__(self, at: int, value: int) -> None: ...
    @overload
    def __setitem__(self, at: slice, value: Iterable[int]) -> None: ...
    def __setitem__(self, at: int | slice, value: int | Iterable[int]) -> None:
        if isinstance(at, int) and isinstance(value, int):
            at, value = slice(_address(at), at + 1), (value,)
        if not isinstance(at, slice) or isinstance(value, int):
            raise TypeError("memory[a] takes a byte, memory[a:b] takes bytes")
        addresses, data = _addresses(at), bytes(value)
        if len(addresses) != len(data):
            raise ValueError(f"{len(addresses)} addresses take so many bytes, not {len(data)}")
        self._board.poke_all(zip(addresses, data, strict=True))


class Machine:
    """An 8085 board that can be run, held, looked into and reset.

    Attributes:
        board: chips, devices, wires.
        clock_hz: CPU clock in hertz (half the crystal).
        registers, memory: what they hold now; both can be set while it rests.
        stops: the conditions that hold it.
        trace: the machine cycles of the recent past.
        findings: what the board noticed.
        symbols: values by name, from the firmware loaded last.
        equated: those names in ``symbols`` that stand for a value and not for a place.
        runs: where that firmware has or reserves bytes, as ``Image.runs``.
        serial: the far end of the line on SID and SOD, or None.
        schedule: board time and the deadlines of devices; events of tests too.
        stop_listeners: each is called with every stop that hits.
        companions: who goes along with every motion.
        holds_for_user: whether stops of the user's, requests to hold and the bound hold
            it at all.
        bound: T-state at which every motion ends with :attr:`Reason.LIMIT`, to the end of
            a machine cycle, whatever it was asked for; ``NEVER`` for none.
        noted: which data bytes there were (``cpu.layout.DATA_NOTED``), int64.
        pace: machine cycles a second that a device asks to be paced by, to be read
            by eye; 0 for none.  It concerns only who runs the machine.
    """

    def __init__(self, board: Board, *, trace: int = TRACE_SIZE) -> None:
        """Put ``board`` in a machine and power it.

        Args:
            trace: records the trace holds, at least 1.
        """
        self.board = board
        self.clock_hz = board.clock_hz
        self.schedule = Schedule()
        self.trace = Trace(trace)
        self.findings = Findings()
        self.stops = StopSet()
        self.stop_listeners: list[StopListener] = []
        self.companions: list[Companion] = []
        self.holds_for_user = True
        self.bound = NEVER
        self.symbols: dict[str, int] = {}
        self.equated: set[str] = set()
        self.runs: tuple[Run, ...] = ()
        self.memory = Memory(board)
        self._cpu = Processor(board.map, board.store, self.trace, self.findings)
        self._state = self._cpu.state
        self.noted = self._cpu.noted
        self.pace = 0
        self._hits: tuple[Stop, ...] = ()
        self._inputs = InputLines(self._cpu, self.schedule)
        self._asked = False
        self._master_stopped = False
        self._wait = False
        self._heeds_pace = False
        self.registers = Registers(self._state)
        board.connect(self)
        self.power()

    @classmethod
    def from_board(
        cls,
        board: str | Path | BoardDescription,
        *,
        firmware: str | Path | Image | None = None,
        trace: int = TRACE_SIZE,
    ) -> Machine:
        """A machine on a demo board by name, a board file, or a description.

        Args:
            firmware: an image or a HEX, binary or assembly file to load.
            trace: records the trace holds.

        Raises:
            UserError: a board or firmware that cannot be taken.
        """
        description = board if isinstance(board, BoardDescription) else load_board(board)
        machine = cls(fit(description), trace=trace)
        if firmware is not None:
            machine.load(firmware)
        return machine

    @classmethod
    def from_text(cls, text: str, *, file: str = "", trace: int = TRACE_SIZE) -> Machine:
        """A machine on the board that a YAML text describes.

        Raises:
            UserError: as :func:`emu85.board.read_board` does.
        """
        return cls(fit(read_board(text, file)), trace=trace)

    # --- loading and starting -------------------------------------------------

    def load(self, firmware: str | Path | Image, at: int | None = None) -> Image:
        """Burn an image into the board's memory and take over its symbols.

        Args:
            at: address for a raw binary.

        Raises:
            UserError: the file cannot be read or does not fit the board; nothing
                is changed then.
        """
        image = firmware if isinstance(firmware, Image) else read_image(firmware, at=at)
        self.board.program(image)
        self.symbols = dict(image.symbols)
        self.equated = set(image.equated)
        self.runs = image.runs
        return image

    def power(self) -> None:
        """Switch off and on: T is 0, RAM is filled anew, trace and findings are empty.

        Raises:
            UserError: a battery file that cannot be written; nothing is changed then.
        """
        self.board.save_batteries()
        self.schedule.clear()
        self.schedule.now = 0
        self._inputs.power()
        self.pace = 0
        self._cpu.power(self.board.description.pull_ups)
        self.board.power()
        self.trace.clear()
        self.findings.clear()
        self.stops.begin_again()
        self.stops.changed = True
        self._cpu.reset()
        self.schedule.run_until(self.t)
        self.board.deeds.tell("power")

    def reset(self) -> None:
        """RESET IN for the shortest time the data sheet allows; memory is kept."""
        self._cpu.reset()
        self.board.reset()
        self.board.sod(0)
        self.board.hlda(0)
        self.schedule.run_until(self.t)
        self.board.deeds.tell("reset")

    # --- moving ---------------------------------------------------------------

    def step(self, cycles: int = 1, *, t_states: int | None = None) -> Held:
        """Run ``cycles`` machine cycles, or fewer if a stop hits.

        It ends as well, with :attr:`Reason.LIMIT`, when a second of board time has brought
        none, in a halt or on hold.

        Args:
            t_states: for no longer than that, to the end of a machine cycle.

        Raises:
            ValueError: if ``cycles`` or ``t_states`` is negative.
        """
        self._asked = False
        left = _not_negative("cycles", cycles)
        last = NEVER if t_states is None else self.t + _not_negative("t_states", t_states)
        while True:
            end, before = min(last, self._idle_end()), self.trace.total
            held = self._go(end, left)
            done = self.trace.total - before
            is_over = self.t < end or self.t >= last
            if held.reason is not Reason.LIMIT or is_over or not done:
                return held
            left -= done

    def step_instruction(self, count: int = 1) -> Held:
        """Run to the next opcode fetch, ``count`` times; or until a stop.

        Raises:
            ValueError: if ``count`` is negative.
        """
        self._asked = False
        held = Held(Reason.INSTRUCTION, self.t)
        for _ in range(_not_negative("count", count)):
            held = self._go_to_boundary()
            if held.reason is not Reason.INSTRUCTION:
                break
        return held

    def step_past(self) -> Held:
        """Run one instruction; if it is a call (or an interrupt is taken), to its return.

        The return is the first fetch at the address after the call with the stack
        back at its level, so neither recursion nor a call to the very next address
        ends it early.  A call to the next instruction that only fetches its own
        address from the stack (POP) is over with that.
        """
        self._asked = False
        total = self.trace.total
        place = self.registers.instruction_at
        began = not self.registers.boundary
        held = self._go_to_boundary()
        if held.reason is not Reason.INSTRUCTION:
            return held
        back = self._return_address(place, None if began else total)
        if back is None:
            return held
        level = self.registers.sp
        if self.registers.pc == back:
            held = self._go_to_boundary()
            if held.reason is not Reason.INSTRUCTION or self._has_risen_from(level):
                return held
        while True:
            held = self._go_until(NEVER, back)
            if held.reason is not Reason.ADDRESS or self._has_risen_from(level):
                return held

    def run(
        self,
        *,
        t_states: int | None = None,
        seconds: float | None = None,
        until: int | None = None,
        wait: bool = False,
        heed_pace: bool = False,
    ) -> Held:
        """Run until a stop hits, or until one of the given ends is reached.

        Args:
            t_states: for at least so many T-states, to the end of a machine cycle.
            seconds: the same in seconds of board time.
            until: hold before the opcode fetch at this address.
            wait: in a halt that nothing scheduled can end, let the time pass
                (somebody may yet press a key) instead of returning at once.
            heed_pace: return as soon as a device has asked for a :attr:`pace`.

        Raises:
            ValueError: if a length of time is negative.
            IndexError: if ``until`` is no address.
        """
        self._asked = False
        self._heeds_pace = heed_pace
        self._wait = wait and (t_states is not None or seconds is not None)
        if seconds is not None:
            of_seconds = math.ceil(seconds * self.clock_hz)
            t_states = of_seconds if t_states is None else min(t_states, of_seconds)
        end = NEVER if t_states is None else self.t + _not_negative("t_states", t_states)
        if until is None:
            return self._go(end)
        return self._go_until(end, _address(until))

    def parts(self) -> list[object]:
        """Everything whose attributes change while it runs (``Board.parts``)."""
        return [self.schedule, self._inputs, *self.board.parts()]

    def fixed(self) -> list[object]:
        """What parts hold on to and what is never another."""
        return [self, self._cpu, self.stops, self.trace, self.findings, *self.board.fixed()]

    def note(self, description: str, where: str) -> None:
        """Count a finding that is no bus cycle's, as of now."""
        self.findings.note(description, where, self.schedule.now)

    def ask_hold(self) -> None:
        """Have a running :meth:`run` return soon; may be called from a signal or thread."""
        self._asked = self.holds_for_user

    def ask_pace(self, steps: int) -> None:
        """Have whoever runs the machine pace it by so many machine cycles a second."""
        self.pace = steps

    def ask_full_speed(self) -> None:
        """End the pace."""
        self.pace = 0

    def end_pace(self) -> None:
        """End the pace that a device asked for, by the user's hand; devices are told."""
        self.pace = 0
        self.board.end_pace()

    def drive(self, line: Line, level: int) -> None:
        """Put an input line of the CPU at 0 or 1 as of ``schedule.now``.

        Raises:
            ValueError: if ``line`` is not an input.
        """
        self._inputs.drive(line, level)

    def reached(self, kind: Cycle, address: int) -> Reached:
        """What a bus cycle (MR, MW, IOR or IOW) at an address, or a port, finds."""
        word = int(self.board.map[_map_index(kind, address)])
        nobody = MapBit.NO_READER if kind in READS else MapBit.NO_WRITER | MapBit.ROM
        return Reached(word >> WAIT_SHIFT & WAIT_MASK, not word & nobody)

    def transfer(
        self,
        kind: Cycle,
        address: int,
        data: int | None,
        *,
        noted: bool = True,
        waits: int = 0,
    ) -> int:
        """One bus cycle by another bus master at ``schedule.now``, while HLDA is high.

        Args:
            kind: MR, MW, IOR or IOW.
            address: 0 to FFFF, or a port 0 to FF.
            data: the byte of a write; None for a read.
            noted: False for the other side of a cycle that is on the trace already.
            waits: wait states that the bus master puts into it.

        Returns:
            the byte that was on the data bus.
        """
        index = _map_index(kind, address)
        value = self._read(index) if data is None else self._write(index, data)
        if not noted:
            return value
        shown = (index & 0xFF) * 0x101 if kind in IO_CYCLES else index
        out = self._cpu.master_cycle(self.schedule.now, shown, value, kind, waits)
        self._master_stopped |= bool(out & X_STOP)
        return value

    # --- looking --------------------------------------------------------------

    @property
    def t(self) -> int:
        """T-states since power-on; the start of the next machine cycle."""
        return self._state[T]

    @property
    def seconds(self) -> float:
        """Board time since power-on."""
        return self.t / self.clock_hz

    @property
    def lines(self) -> Line:
        """Levels of the input lines, SOD and HLDA now."""
        return Line(self._state[State.LINES])

    @property
    def serial(self) -> SerialLine | None:
        """The far end of the line on SID and SOD."""
        return self.board.serial

    def drop_stop(self, number: int) -> None:
        """Take a stop away; with one of the firmware's the board goes another way.

        Raises:
            UserError: there is none of that number.
        """
        self._change_stop("drop", number)

    def rest_stop(self, number: int) -> None:
        """Keep a stop without looking for it.  Raises UserError as :meth:`drop_stop` does."""
        self._change_stop("rest", number)

    def wake_stop(self, number: int) -> None:
        """Arm a resting stop.  Raises UserError as :meth:`drop_stop` does."""
        self._change_stop("wake", number)

    def _change_stop(self, action: str, number: int) -> None:
        owner = self.stops[number].owner
        {"drop": self.stops.drop, "rest": self.stops.rest, "wake": self.stops.wake}[action](number)
        if owner == "firmware":
            self.board.deeds.tell("stop", action, number)

    def replace_stops(self, stops: StopSet) -> None:
        """Put another set of stops in place of the present one."""
        self.stops.clear()
        self.stops.apply(self.board.map)
        self.stops = stops
        self.stops.changed = True

    # --- time -----------------------------------------------------------------

    def _idle_end(self) -> int:
        """How long a step waits in a halted machine: one second of board time."""
        return self.t + round(self.clock_hz)

    def _go_to_boundary(self) -> Held:
        self._state[State.WANT_BOUNDARY] = 1
        return self._go(self._idle_end())

    def _go_until(self, end: int, address: int) -> Held:
        words = self.board.map
        words[address] |= MapBit.HOLD_BEFORE
        here = self.registers.boundary and self.registers.pc == address
        self._state[State.SKIP_HOLD_BEFORE] = int(here)
        try:
            held = self._go(end)
        finally:
            words[address] &= ~np.int64(MapBit.HOLD_BEFORE)
            self._state[State.SKIP_HOLD_BEFORE] = 0
        if held.reason is Reason.INSTRUCTION:
            return held._replace(reason=Reason.ADDRESS)
        return held

    def _go(self, end: int, budget: int = _NO_BUDGET) -> Held:
        """Run to the first boundary between machine cycles at or after ``end``."""
        for companion in self.companions:
            companion.begin()
        if self.stops.changed:
            self._arm()
        if self.holds_for_user:
            end = min(end, self.bound)
        try:
            reason = self._part_after_part(end, budget)
        finally:
            self._wait = self._heeds_pace = False
            self._state[State.WANT_BOUNDARY] = 0
            self._cpu.settle()
            for companion in self.companions:
                companion.end()
        return Held(reason, self.t, self._hits if reason is Reason.STOP else ())

    def _part_after_part(self, end: int, budget: int) -> Reason:
        """Run to the end, and rest on the way where companions ask for it."""
        may_wait = self._wait
        while True:
            due = min((companion.next_t() for companion in self.companions), default=NEVER)
            part = min(end, due, self.t + _PART) if self.companions else end
            self._wait = may_wait or (due <= part and due < NEVER)
            self._state[BUDGET] = budget
            reason = self._burst_after_burst(part, budget)
            budget = self._state[BUDGET]
            self._cpu.settle()
            self.schedule.run_until(self.t)
            for companion in self.companions:
                companion.rest()
            if reason is not Reason.LIMIT or self.t >= end:
                return reason

    def _burst_after_burst(self, end: int, budget: int) -> Reason:
        state, schedule, run = self._state, self.schedule, self._cpu.run
        latest = end - 1
        while True:
            t = state[T]
            if t > latest:
                return Reason.LIMIT
            if self._asked:
                return Reason.ASKED
            limit = schedule.next_t
            if limit >= latest or limit > t + _BURST:
                limit = min(latest, t + _BURST)
            out = run(limit, budget)
            if out in _OF_DEVICES:
                out = self._serve_devices(out, limit)
            budget = state[BUDGET]
            reason = self._serve(out, end)
            if reason is not None:
                return reason

    def _read(self, index: int) -> int:
        word = int(self.board.map[index])
        if word & MapBit.READ_EXIT:
            return self.board.readers[index]() & 0xFF
        return int(self.board.store[word & INDEX_MASK]) & 0xFF

    def _write(self, index: int, value: int) -> int:
        word = int(self.board.map[index])
        self.noted[value] = 1
        if not word & (MapBit.ROM | MapBit.NO_WRITER):
            self.board.store[word & INDEX_MASK] = value
        if word & MapBit.WRITE_EXIT:
            self.board.writers[index](value)
        return value

    def _serve_devices(self, out: int, limit: int) -> int:
        """Have devices answer reads and take writes one after another.

        This is all that happens in a loop that polls a device or drives a port.

        Returns:
            the exit that ends it, or 0 if there is more to see to.
        """
        state, schedule, run_on = self._state, self.schedule, self._cpu.run_on
        while out in _OF_DEVICES:
            now = state[T]
            if out == X_READ:
                if self._asked:  # the cycle has not begun
                    return 0
                schedule.now = now
                self._answer_read()
            else:
                if schedule.next_t < now or self._asked:
                    return out
                schedule.now = now
                self._tell_of_write(out)
                if self.stops.changed or self._master_stopped or self.pace:
                    return 0
            if schedule.next_t < limit:  # the device has set itself a deadline
                limit = state[LIMIT] = schedule.next_t
            out = run_on()
        return out

    def _answer_read(self) -> None:
        state = self._state
        if state[EXIT_TYPE] == INA:
            state[ANSWER] = self.board.acknowledge() & 0xFF
        else:
            state[ANSWER] = self.board.readers[state[EXIT_INDEX]]() & 0xFF

    def _serve(self, out: int, end: int) -> Reason | None:
        """See to everything the core came back for; a reason if the machine is to hold."""
        state, schedule = self._state, self.schedule
        if out & X_IDLE and not self._pass_time(end):
            return Reason.HALTED
        schedule.run_until(state[T])
        if out in _OF_TIME and not (self.stops.changed or self._master_stopped or self.pace):
            return None
        if out & _TOLD:
            self._tell_of_write(out)
        if out & X_HLDA:
            self.board.hlda(int(state[LINES] & HLDA != 0))
        holds = False
        if out & X_STOP or self._master_stopped:
            self._master_stopped = False
            holds = self._stops_hold()
        if self.stops.changed:
            self._arm()
        if holds:
            return Reason.STOP
        if self._heeds_pace and self.pace:
            return Reason.PACE
        if out & X_BUDGET:
            return Reason.CYCLES
        if out & X_BOUNDARY:
            return Reason.INSTRUCTION
        return None

    def _tell_of_write(self, out: int) -> None:
        """Tell the board what the CPU has put out in the cycle that has just ended."""
        state = self._state
        self._inputs.is_writing = True
        try:
            if out & X_WRITE:
                self.board.writers[state[EXIT_INDEX]](state[EXIT_DATA])
            if out & X_SOD:
                self.board.sod(int(state[LINES] & SOD != 0))
        finally:
            self._inputs.is_writing = False

    def _stops_hold(self) -> bool:
        """Tell who listens of the stops that have just hit; whether the machine is to hold.

        What firmware has armed holds only if the device that armed it asks for it.
        """
        self._hits = tuple(self.stops.hit_at(self._state[State.LAST_START]))
        for stop in self._hits:
            for listener in self.stop_listeners:
                listener(stop, self._state[State.LAST_START])
        is_for_user = any(stop.owner != "firmware" for stop in self._hits)
        return self._asked or (is_for_user and self.holds_for_user)

    def _pass_time(self, end: int) -> bool:
        """Let an idle CPU wait for the next event; False if there is none to wait for."""
        wake = self.schedule.next_t + 1
        if wake > NEVER and not self._wait:
            return False
        until = wake if wake < end else end
        if until > self._state[T]:
            self._state[T] = until
        return True

    def _arm(self) -> None:
        self.stops.apply(self.board.map)
        self._cpu.watch(self.stops.table, self.stops.data_watch)

    def _has_risen_from(self, level: int) -> bool:
        """Whether the stack holds less than when SP was ``level``."""
        return 0 < (self.registers.sp - level) & 0xFFFF < 0x8000

    def _return_address(self, place: int, total: int | None) -> int | None:
        """Where the call that has just been made returns to; None if it was none.

        Args:
            place: address of the instruction.
            total: ``trace.total`` before it began, or None if it was under way.
        """
        if total is not None and self._interrupted_since(total):
            return place
        opcode = self.memory[place]
        if opcode not in _CALLS or not self._meets(INSTRUCTIONS[opcode].condition):
            return None
        return (place + INSTRUCTIONS[opcode].length) & 0xFFFF

    def _meets(self, condition: Condition | None) -> bool:
        """Whether the flags are as a condition asks; a call leaves them alone."""
        if condition is None:
            return True
        mask, wanted = FLAG_MASKS[condition]
        return (self.registers.f & mask != 0) == (wanted != 0)

    def _interrupted_since(self, total: int) -> bool:
        """Whether an interrupt was taken first after ``trace.total`` was ``total``."""
        count = self.trace.total - total
        if count > len(self.trace):
            return False
        # A hold or the halt that the interrupt ended may come before it.
        cycles = [kind for kind in self.trace.last(count)["type"].tolist() if kind not in STATES]
        return bool(cycles) and cycles[0] != Cycle.OF


def _not_negative(what: str, number: int) -> int:
    if number < 0:
        raise ValueError(f"{what} are counted from 0, not {number}")
    return number


def _map_index(kind: Cycle, address: int) -> int:
    return IO_BASE + (address & 0xFF) if kind in IO_CYCLES else address & 0xFFFF


def _address(at: int) -> int:
    if not 0 <= at <= 0xFFFF:
        raise IndexError(f"an address is 0 to FFFF hexadecimal, not {at:X}")
    return at


def _addresses(at: slice) -> range:
    return range(*at.indices(0x10000))
