"""Calling a routine of the firmware from outside, and what came of it.

The return address is put on the stack, the PC at the routine, and the machine runs until
the instruction fetched next would be the one at the return address, with the stack at the
level it had before.  The return address is one that no chip answers, or else one far from
all code; nothing is ever fetched from it.  So a call is exact to the T-state, and the
routine cannot tell it from another, unless it reads what stands behind its CALL: such a
routine is called from an assembled snippet that has its CALL.

After it the CPU is as it was before, so that the program that ran there can run on: what
the registers were is put back, in the middle of an instruction or in a halt as well.
Time has passed, and what the routine did to memory and to devices stays, the bytes below
SP that it used included.  Latches of interrupts and the levels of pins are not put back.

Two stops that are not listed look at the stack: whoever reads the return address there,
or the byte above it, has the machine held at once.  So a routine that takes off more than
it put there is caught in the act and not somewhere in the woods.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NoReturn, TypedDict, cast

import numpy as np
from numpy.typing import NDArray

from emu85.bus.cycles import Cycle
from emu85.console.views.code import instruction_at
from emu85.console.views.held import held_sentence
from emu85.console.views.places import Places
from emu85.cpu.layout import State
from emu85.cpu.registers import Registers
from emu85.errors import UserError, nearest
from emu85.machine import Held, Machine, Reason
from emu85.profile import Execution, Gathering
from emu85.profile.code import code_and_executed
from emu85.rehearsal import looks
from emu85.testing.failure import BoardFailure
from emu85.testing.given import number_of
from emu85.testing.routine import end_of, instructions_in
from emu85.wording import counted

LIMIT = 1_000_000
"""T-states that a call may take unless told otherwise."""
_SPACE = 0x10000
_WORD = 2
_REGISTERS = 16
_PAIRS = ("BC", "DE", "HL", "SP")
_PROGRAM = (
    State.PC,
    State.SP,
    State.ROW,
    State.INSTRUCTION,
    State.HALTED,
    State.IE,
    State.SHADOW,
    State.IE_BEFORE_TRAP,
    State.TRAP_TAKEN,
    State.MASKS,
    State.VECTOR,
    *range(State.REGISTERS, State.REGISTERS + _REGISTERS),
)
"""Cells of the state that a program has for itself; the others are time, pins and latches."""


class Given(TypedDict, total=False):
    """Registers, pairs and flags that can be set for a call, in the order it is done.

    ``ie`` is whether interrupts are enabled, ``masks`` M7.5 M6.5 M5.5 in bits 2-0.
    """

    psw: int
    bc: int
    de: int
    hl: int
    sp: int
    a: int
    f: int
    b: int
    c: int
    d: int
    e: int
    h: int
    l: int  # noqa: E741 - the register's name
    s: int
    z: int
    k: int
    ac: int
    p: int
    v: int
    cy: int
    ie: int
    masks: int


@dataclass(frozen=True, slots=True, repr=False)
class Outcome:
    """What a routine did.

    Attributes:
        registers: as it left them; a copy, by the same names as the machine's.
        t_states: from the start of its first opcode fetch to the end of its return, the
            returning instruction included and the CALL not; with wait states, holds,
            and interrupts that came meanwhile.
        execution: counts of all its cycles, those of the routines it called too.
        start: where it begins.
        end: the address after its last byte (:func:`emu85.testing.routine.end_of`).
        instructions: bytes of each of its instructions by address, as its source has them
            or, without one, as control comes to them.
    """

    t_states: int
    registers: Registers
    execution: Execution
    start: int
    end: int
    instructions: Mapping[int, int]

    def __repr__(self) -> str:
        """As pytest shows it beside a wrong expectation."""
        left = self.registers
        pairs = " ".join(f"{name} {getattr(left, name.lower()):04X}" for name in _PAIRS)
        return f"Outcome({self.t_states} T-states, A {left.a:02X} F {left.f:02X} {pairs})"

    @property
    def executed(self) -> frozenset[int]:
        """Addresses from which opcodes were fetched."""
        return frozenset(np.flatnonzero(self.execution.fetches).tolist())

    @property
    def missed(self) -> tuple[int, ...]:
        """Addresses of the bytes of the routine's instructions that were not executed.

        Data is not among them: a parameter or a text behind a CALL, a table.
        """
        code, executed = self._code()
        return tuple((np.flatnonzero(code & ~executed) + self.start).tolist())

    @property
    def share(self) -> float:
        """How much of the bytes of its instructions was executed, 0 to 1.

        What counts is what counts in the reports of ``emu85 profile``
        (:mod:`emu85.profile.code`).
        """
        code, executed = self._code()
        return float(executed.sum() / code.sum())

    def _code(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        code, executed = code_and_executed(self.instructions, self.execution)
        return code[self.start : self.end], executed[self.start : self.end]


def call(
    machine: Machine,
    name: str,
    start: int,
    given: Given,
    limit: int = LIMIT,
    instructions: Mapping[int, int] | None = None,
) -> Outcome:
    """Run a routine to its return, and put the CPU back to what it did before.

    Args:
        name: of the routine, for messages.
        start: its address.
        given: what registers hold at its first opcode fetch; the others keep their
            values.  ``sp`` is the level before the call; if it is not given and SP is 0, as at
            power-on, the stack begins at the top of its region or of RAM.
        limit: T-states that it may take.
        instructions: those of the source, as :func:`emu85.profile.code.instructions_of`.

    Raises:
        UserError: a register that is none, or takes no such value; no RAM at the stack.
        BoardFailure: the routine does not return as it should; nothing is put back then.
    """
    execution = Execution()
    state = machine.registers.state
    before = [state[cell] for cell in _PROGRAM]
    try:
        _set(machine.registers, given)
        level = machine.registers.sp
        if not level and "sp" not in given:
            level = _top(machine)
        running = _Call(machine, name, start, level, execution)
    except UserError:
        _put_back(state, before)
        raise
    began = machine.t
    running.run(limit)
    execution.finish(machine.t)
    registers = Registers(memoryview(array("q", state)))
    _put_back(state, before)
    end = end_of(machine, start)
    of_it = {at: size for at, size in (instructions or {}).items() if start <= at < end}
    of_it = of_it or instructions_in(machine, start, execution)
    return Outcome(machine.t - began, registers, execution, start, end, of_it)


def _put_back(state: memoryview[int], before: Sequence[int]) -> None:
    for cell, value in zip(_PROGRAM, before, strict=True):
        state[cell] = value


def _set(registers: Registers, given: Given) -> None:
    names = list(Given.__annotations__)
    values = cast(Mapping[str, int], given)
    for name in values:
        if name not in names:
            raise UserError(
                f"{name!r} is no register or flag",
                expected=f"one of {', '.join(names)}",
                nearest=nearest(name, names),
            )
    for name in names:
        if name not in values:
            continue
        try:
            setattr(registers, name, number_of(name, values[name]))
        except ValueError as error:
            raise UserError(str(error)) from None


class _Call:
    """One call under way: its frame on the stack, and the ways it can go wrong."""

    def __init__(
        self, machine: Machine, name: str, start: int, level: int, execution: Execution
    ) -> None:
        self._machine = machine
        self._name = name
        self._level = level
        self._back = _nowhere(machine)
        self._gathering = Gathering(machine, execution)
        frame = (self._level - _WORD) % _SPACE
        low, high = self._back & 0xFF, self._back >> 8
        machine.board.poke_all([(frame, low), ((frame + 1) % _SPACE, high)])
        machine.registers.sp = frame
        machine.registers.pc = start

    def run(self, limit: int) -> None:
        """Let it run to its return.

        Raises:
            BoardFailure: it does not come to it.
        """
        machine = self._machine
        high, above = ((self._level + offset) % _SPACE for offset in (-1, 1))
        conditions = (f"on MR at {high:04X}", f"on MR at {above:04X}", "on OF with finding")
        stops = [machine.stops.add_unlisted(condition) for condition in conditions]
        end = machine.t + limit
        try:
            while not self._is_back():
                left = end - machine.t
                if left <= 0:
                    self._late(limit)
                with self._gathering:
                    held = machine.run(t_states=left, until=self._back)
                self._judge(held, stops[-1])
        finally:
            for stop in stops:
                machine.stops.drop_unlisted(stop)
        if machine.t > end:
            within = looks.span(limit, machine.clock_hz)
            raise BoardFailure(f"{self._name} did not return within {within}, but right after")

    def _is_back(self) -> bool:
        """Whether the return address is next, with the stack as it was."""
        registers = self._machine.registers
        is_there = registers.boundary and registers.pc == self._back and not registers.halted
        if is_there and registers.sp != self._level:
            self._fail("returned with the stack at another level")
        return is_there

    def _judge(self, held: Held, wild: object) -> None:
        """Tell of what can come to no good."""
        machine, registers = self._machine, self._machine.registers
        risen = (registers.sp - self._level) % _SPACE
        if held.reason is Reason.HALTED:
            self._fail(f"is halted{self._last()}, and nothing on the board will wake it")
        if held.reason in (Reason.LIMIT, Reason.ADDRESS):
            return
        if wild in held.stops:
            fetched = int(machine.trace[-1]["address"])
            self._fail(f"ran away to {fetched:04X}{self._last(fetched)}")
        if any(stop.number for stop in held.stops) or held.reason is not Reason.STOP:
            self._fail(f"did not return. {held_sentence(held, machine)}")
        if registers.boundary and 0 < risen < _SPACE // 2:
            self._fail(f"took more off the stack than it put there{self._last()}")

    def _late(self, limit: int) -> NoReturn:
        machine = self._machine
        at = f"at {self._place(machine.registers.instruction_at)}"
        where = f"halted{self._last()}" if machine.registers.halted else at
        within = looks.span(limit, machine.clock_hz)
        self._fail(f"did not return within {within}; it is {where}")

    def _last(self, but: int | None = None) -> str:
        """The last instruction that began, one at the address ``but`` left out, in words."""
        machine = self._machine
        for record in machine.trace.last(_LOOKED_BACK)[::-1]:
            address = int(record["address"])
            if record["type"] == Cycle.OF and address != but:
                text = instruction_at(machine, address, int(record["data"]))
                return f", by {self._place(address)}, {text.rpartition(': ')[2]}"
        return ""

    def _place(self, address: int) -> str:
        return Places.of(self._machine).text(address)

    def _fail(self, what: str) -> NoReturn:
        raise BoardFailure(f"{self._name} {what}\n{self._stack()}")

    def _stack(self) -> str:
        """How the stack stands to what it was before the call."""
        sp = self._machine.registers.sp
        risen = (sp - self._level) % _SPACE
        if risen == 0:
            return f"the return address has been taken off the stack: SP is {sp:04X}"
        if risen < _SPACE // 2:
            return f"{counted(risen, 'byte')} too many taken off the stack: SP is {sp:04X}"
        left = _SPACE - risen - _WORD
        if left < 0:
            return f"half the return address is on the stack: SP is {sp:04X}"
        on_top = f", and {counted(left, 'byte')} more" if left else ""
        return f"the return address is still on the stack{on_top}: SP is {sp:04X}"


_LOOKED_BACK = 64
"""Machine cycles among which the instruction before is looked for."""


def _top(machine: Machine) -> int:
    """SP of an empty stack: behind the stack's region, or else behind the highest RAM."""
    ends = [high for _, high in machine.board.description.stack]
    if not ends:
        regions = machine.board.memory_map()
        ends = [one.high for one in regions if one.kind == "ram" and one.mirror_of is None]
    if not ends:
        raise UserError("the board has no RAM for a return address", expected="sp=ADDRESS")
    return (max(ends) + 1) % _SPACE


def _nowhere(machine: Machine) -> int:
    """A return address at which nothing is meant to be executed: the highest there is."""
    gaps = [one.high for one in machine.board.memory_map() if one.kind == "gap"]
    if gaps:
        return max(gaps)
    downwards = range(_SPACE - 1, -1, -1)
    free = (at for at in downwards if not any(low <= at < end for low, end in machine.runs))
    return next(free, _SPACE - 1)
