"""A bare machine on which the subject of a card is run, so that its waveform is measured.

64 Kbytes of RAM, eight switches and eight lamps at every port, a circuit that answers INTR.
Wait states are set before each machine cycle, by its type or as a real board has them at the
address: only the time is taken from the board, so no device of it is disturbed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.bus.lines import BY_NAME, Line
from emu85.cpu.layout import WAIT_MASK, WAIT_SHIFT
from emu85.cpu.rows import FLAG_MASKS
from emu85.isa import Addr, Instruction, MachineCycle, Op, Operand
from emu85.isa.acknowledge import RESTART_INPUT, VECTORS, jammed
from emu85.isa.terms import OPERAND_BYTES
from emu85.machine import Machine
from emu85.timing.subjects import INPUTS, Event, Subject

_BOARD = """
name: bench
crystal: 6.144 MHz
memory:
  - {{ram: 64K, name: memory, at: 0000-FFFF, code: yes}}
ports:
  - {{device: switches, name: switches, at: 00-FF, value: 5A}}
  - {{device: lamps, name: lamps, at: 00-FF}}
wired:
  - {{device: vector, name: jam, {jam}}}
lines:
  INTR: jam.intr
"""
_TRACE = 64
_NOP, _HLT = 0x00, 0x76
_WAITS = np.int64(WAIT_MASK << WAIT_SHIFT)
_SHOWN_HALT = 4
_SHOWN_HOLD = 3
"""T-states of a state that a card shows; it can be of any length."""
WAITING = (Cycle.OF, Cycle.MR, Cycle.MW, Cycle.IOR, Cycle.IOW)
"""Cycles in which a board may insert wait states.

READY is sampled in INTA cycles as well (User's Manual, October 1979, value from memory), but
a board file states wait states of addresses and ports, and an INTA cycle selects neither.
"""


@dataclass(frozen=True, slots=True)
class Situation:
    """What the registers hold and what stands in memory before a run: an example.

    Attributes:
        direct: the operand of LDA, STA, LHLD and SHLD.
        target: where jumps and calls go.
        bytes: what the memory holds at some addresses.
        waits_at: wait states by index of the core's map, or None.
        waits: wait states by cycle type, where ``waits_at`` is None.
    """

    pc: int = 0x0150
    sp: int = 0x87F0
    a: int = 0x3E
    f: int = 0
    bc: int = 0x8050
    de: int = 0x8060
    hl: int = 0x8040
    direct: int = 0x8070
    target: int = 0x0280
    datum: int = 0x2B
    port: int = 0x21
    bytes: Mapping[int, int] = field(default_factory=dict)
    waits_at: NDArray[np.int64] | None = None
    waits: Mapping[Cycle, int] = field(default_factory=dict)

    def operand(self, instruction: Instruction) -> int:
        """An example for the operand of an instruction; 0 if it has none."""
        kind = next((one for one in instruction.operands if isinstance(one, Operand)), None)
        if kind is Operand.D8:
            return self.datum
        if kind is Operand.PORT:
            return self.port
        if kind is Operand.D16:
            return self.direct
        if kind is None:
            return 0
        goes = any(cycle.does is Op.JUMP for cycle in instruction.cycles)
        return self.target if goes else self.direct


class Ran(NamedTuple):
    """A run as it was measured.

    Attributes:
        rows: what was to happen, a row each record.
        records: the machine cycles, structured array of ``bus.trace.RECORD``.
        end_t: T-state at which the last record ends.
        counted: which records are of the subject and not before or after it.
    """

    rows: tuple[MachineCycle, ...]
    records: NDArray[np.void]
    end_t: int
    counted: range

    def length(self, index: int) -> int:
        """T-states of a record."""
        ends = [*self.records["t"][1:].tolist(), self.end_t]
        return int(ends[index]) - int(self.records["t"][index])

    @property
    def t_states(self) -> int:
        """T-states of the subject, wait states included."""
        return sum(self.length(index) for index in self.counted)


_FETCH = MachineCycle(Cycle.OF, 4, Addr.PC)
_HALTED = MachineCycle(Cycle.HALT, 1, Addr.PC_HELD, does=Op.HALT)
_HELD = MachineCycle(Cycle.HOLD, 1, Addr.PC_HELD)
_RESET = MachineCycle(Cycle.RESET, 3, Addr.PC_HELD)


class Bench:
    """Runs subjects.  One can run many; a machine is built for each answer to INTR."""

    def __init__(self) -> None:
        self._machines: dict[str, Machine] = {}

    def run(self, subject: Subject, situation: Situation, *, met: bool = True) -> Ran:
        """Run a subject once.

        Args:
            met: whether the instruction's condition, if it has one, is to be met.
        """
        machine = self._machine(_jam(subject, situation))
        machine.power()
        _prepare(machine, situation)
        if subject.event is None:
            return _instruction(machine, subject, situation, met)
        return _EVENTS[subject.event](machine, subject, situation)

    def _machine(self, jam: str) -> Machine:
        if jam not in self._machines:
            machine = Machine.from_text(_BOARD.format(jam=jam), trace=_TRACE)
            self._machines[jam] = machine
        return self._machines[jam]


def _jam(subject: Subject, situation: Situation) -> str:
    if subject.event is not Event.INTR or subject.instruction is None:
        return "rst: 7"
    if subject.instruction.mnemonic == "RST":
        return f"rst: {subject.instruction.operands[0]}"
    target = situation.target if subject.operand is None else subject.operand
    return f"call: {target:04X}"


def _prepare(machine: Machine, situation: Situation) -> None:
    """Memory and registers as the situation has them; code to be run at its PC."""
    for address in (situation.hl, situation.bc, situation.de, situation.direct, situation.sp):
        for after in range(2):
            machine.memory[(address + after) & 0xFFFF] = (0x5A + 0x11 * after) & 0xFF
    for address, value in situation.bytes.items():
        machine.memory[address] = value
    for line in (Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.HOLD):
        machine.drive(line, 0)  # what an earlier run has left high
    registers = machine.registers
    registers.a, registers.f = situation.a, situation.f
    registers.bc, registers.de, registers.hl = situation.bc, situation.de, situation.hl
    registers.sp, registers.pc = situation.sp, situation.pc


def _code(machine: Machine, situation: Situation, *code: int) -> None:
    for offset, byte in enumerate(code):
        machine.memory[(situation.pc + offset) & 0xFFFF] = byte


def _instruction(machine: Machine, subject: Subject, situation: Situation, met: bool) -> Ran:
    one = subject.instruction
    assert one is not None
    operand = situation.operand(one) if subject.operand is None else subject.operand
    size = sum(OPERAND_BYTES[word] for word in one.operands if isinstance(word, Operand))
    _code(machine, situation, one.opcode, *operand.to_bytes(size, "little"))
    rows = one.cycles
    if one.condition is not None:
        mask, wanted = FLAG_MASKS[one.condition]
        machine.registers.f = situation.f & ~mask | (mask if met == bool(wanted) else 0)
        rows = one.cycles if met else one.cycles_not_taken or ()
    return _measured(machine, situation, rows, range(len(rows)))


def _input(machine: Machine, subject: Subject, situation: Situation) -> Ran:
    """TRAP and RST x.5: the fetch in which the input is sampled, then what it does."""
    assert subject.event is not None
    _code(machine, situation, _NOP)
    machine.registers.ie, machine.registers.masks = 1, 0
    _at(machine, 1, BY_NAME[INPUTS[subject.event].casefold()], 1)
    return _measured(machine, situation, (_FETCH, *_restart(subject.event)), range(1, 4))


def _restart(event: Event) -> tuple[MachineCycle, ...]:
    """The rows by which an input is taken, with its own vector."""
    *first, last = RESTART_INPUT
    return (*first, replace(last, does=Op.RESTART, operand=VECTORS[INPUTS[event]]))


def _intr(machine: Machine, subject: Subject, situation: Situation) -> Ran:
    assert subject.instruction is not None
    _code(machine, situation, _NOP)
    machine.registers.ie = 1
    machine.schedule.at(machine.t + 1, lambda: machine.board.devices["jam"].sense("request", 1))
    rows = (_FETCH, *jammed(subject.instruction))
    return _measured(machine, situation, rows, range(1, len(rows)))


def _halt(machine: Machine, subject: Subject, situation: Situation) -> Ran:
    """HLT, some T-states of halt, and an RST 7.5 that ends it."""
    _code(machine, situation, _HLT)
    machine.registers.ie, machine.registers.masks = 1, 0
    fetch = _fetch_waits(situation)
    _at(machine, _FETCH.t_states + fetch + _SHOWN_HALT - 1, Line.RST75, 1)
    return _measured(machine, situation, (_FETCH, _HALTED, *_restart(Event.RST75)), range(2))


def _fetch_waits(situation: Situation) -> int:
    if situation.waits_at is None:
        return situation.waits.get(Cycle.OF, 0)
    return int(situation.waits_at[situation.pc])


def _hold(machine: Machine, subject: Subject, situation: Situation) -> Ran:
    _code(machine, situation, _NOP, _NOP)
    fetch = _fetch_waits(situation)
    _at(machine, 1, Line.HOLD, 1)
    _at(machine, _FETCH.t_states + fetch + _SHOWN_HOLD - 1, Line.HOLD, 0)
    return _measured(machine, situation, (_FETCH, _HELD, _FETCH), range(1, 2))


def _reset(machine: Machine, subject: Subject, situation: Situation) -> Ran:
    """Power-on leaves a reset on the trace; a second one comes after a fetch."""
    _code(machine, situation, _NOP)
    machine.memory[0] = _NOP
    _set_waits(machine, situation, Cycle.OF)
    machine.step()
    machine.reset()
    machine.step()
    records = machine.trace.last(3)
    return Ran((_FETCH, _RESET, _FETCH), records, machine.t, range(1, 2))


_EVENTS: Mapping[Event, Callable[[Machine, Subject, Situation], Ran]] = {
    **dict.fromkeys(INPUTS, _input),
    Event.INTR: _intr,
    Event.HALT: _halt,
    Event.HOLD: _hold,
    Event.RESET: _reset,
}


def _at(machine: Machine, after: int, line: Line, level: int) -> None:
    machine.schedule.at(machine.t + after, lambda: machine.drive(line, level))


def _measured(
    machine: Machine, situation: Situation, rows: tuple[MachineCycle, ...], counted: range
) -> Ran:
    """Step through the rows, a machine cycle each."""
    for row in rows:
        _set_waits(machine, situation, row.kind)
        machine.step()
    records = machine.trace.last(len(rows))
    end_t = machine.t
    if Cycle(int(records["type"][-1])) is Cycle.HALT:
        end_t = int(records["t"][-1]) + 1
    return Ran(rows, records, end_t, counted)


def _set_waits(machine: Machine, situation: Situation, kind: Cycle) -> None:
    words = machine.board.map
    words &= ~_WAITS
    if situation.waits_at is not None:
        words |= situation.waits_at << WAIT_SHIFT
    elif kind in WAITING:
        words |= np.int64(situation.waits.get(kind, 0) << WAIT_SHIFT)
