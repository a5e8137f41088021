"""Where one instruction leads, what is known after it, and what it takes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from emu85.burn.effects import changed
from emu85.burn.execute import Access, Done, execute_at, is_met, told_by
from emu85.burn.ground import Ground
from emu85.burn.moves import MOVES, Way
from emu85.burn.state import (
    FLAGS,
    HELD,
    Among,
    Byte,
    Kept,
    Registers,
    State,
    called,
    called_from,
    join,
    known_address,
    one_of,
    return_offset,
)
from emu85.bus.cycles import IO_CYCLES
from emu85.cpu.rows import FLAG_MASKS
from emu85.firmware import disassemble
from emu85.isa import INSTRUCTIONS, Addr, Condition, Instruction, Op, Reg
from emu85.timing.delay.waits import BoardWaits, Span
from emu85.timing.duration.ways import Both, Step
from emu85.timing.duration.ways import Way as Path

_SPACE = 0x10000
ZERO = FLAG_MASKS[Condition.Z][0]
"""The bit of the flag Z."""
_KEEPS_A = {Op.ORA, Op.ANA}

LOST = -_SPACE
"""Where control goes when nothing tells where."""


def left_by(offset: int) -> int:
    """The node of the return so many bytes after the CALL."""
    return -1 - offset


class Known(NamedTuple):
    """What is known before an instruction; ``zeros`` are nought if Z is set."""

    state: State
    zeros: frozenset[Reg] = frozenset()

    def joined(self, other: Known) -> Known:
        """What holds on both ways."""
        return Known(join(self.state, other.state), self.zeros & other.zeros)


class CallEnd(NamedTuple):
    """One way in which a called routine returns.

    Attributes:
        offset: how many bytes after the CALL.
        known: at its end, of what it knew at its beginning.
        ways: from its first opcode fetch on.
    """

    offset: int
    known: Known
    ways: Both


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """From one instruction to the next.

    Attributes:
        source, target: addresses; beyond 16 bits for the second head of a loop, below 0 for
            a return (:func:`left_by`) or :data:`LOST`.
        ways: what the instruction takes.
        known: after it.
        jumps: whether its condition is met; None if it has none.
        changes: registers that it may leave with another value.
        why: why its time has no most, if it has none.
    """

    source: int
    target: int
    ways: Both
    known: Known
    jumps: bool | None = None
    changes: frozenset[Reg] = frozenset()
    why: str = ""


Caller = Callable[[int, State], tuple[list[CallEnd], str]]
"""Follows a routine from an address with what is known; its ends, and why it has no most."""


class Steps:
    """Instructions of an image on a board.

    Args:
        call: follows a routine that is called.
    """

    def __init__(self, ground: Ground, waits: BoardWaits, call: Caller) -> None:
        self._ground = ground
        self._waits = waits
        self._call = call

    def instruction(self, address: int) -> Instruction:
        """The one that stands there."""
        return INSTRUCTIONS[self._ground.bytes[address % _SPACE]]

    def text(self, address: int) -> str:
        """The same as it is written."""
        image = self._ground.image
        line = disassemble(
            self._ground.bytes.__getitem__,
            address % _SPACE,
            symbols=image.symbols,
            equated=image.equated,
        )
        return " ".join(line.text.split())

    def is_code(self, address: int) -> bool:
        """Whether the image has all bytes of an instruction there."""
        length = self.instruction(address).length
        return all(self._ground.is_code((address + n) % _SPACE, n) for n in range(length))

    def from_(self, address: int, known: Known) -> Iterator[Edge]:
        """Where the instruction there may lead."""
        one = self.instruction(address)
        move = MOVES[one.opcode]
        state = known.state
        done = execute_at(self._ground, address, state)
        following = (address + one.length) % _SPACE
        met = is_met(one, state.flags)
        if met is not True:
            ways = self._ways(address, one, done, False)
            after = _told_by(one, known, False)
            yield self._to(following, Edge(address, LOST, ways, after, False))
        if met is False:
            return
        jumps = None if one.condition is None else True
        ways = self._ways(address, one, done, jumps)
        if move.way in (Way.CALL, Way.RESTART):
            flags = told_by(one, state.flags, True)
            told = done._replace(state=replace(done.state, flags=flags))
            yield from self._calls(address, known, told, ways, jumps)
            return
        after = _told_by(one, Known(done.state, _zeros(one, known)), jumps)
        edge = Edge(address, LOST, ways, after, jumps, changed(one))
        if move.way is Way.ON:
            yield self._to(following, edge)
        elif move.way is Way.HALT:
            why = "HLT waits for an interrupt"
            yield self._to(following, replace(edge, ways=_no_most(ways), why=why))
        elif move.way is Way.RETURN and (state.stack is None or self._is_own(done)):
            offset = 0 if state.stack is None else return_offset(done.target) or 0
            yield replace(edge, target=left_by(offset))
        elif (to := known_address(done.target)) is not None:
            yield self._to(to, edge)
        elif move.way is Way.INDIRECT and self._is_back(done):
            yield replace(edge, target=left_by(return_offset(done.target) or 0))
        else:
            why = f"nothing tells where {self.text(address)} goes"
            yield replace(edge, ways=_no_most(ways), why=why)

    def _to(self, target: int, edge: Edge) -> Edge:
        """The edge led to an address, or astray if no code is there."""
        if self.is_code(target):
            return replace(edge, target=target)
        why = edge.why or f"no code of the image is at {target:04X}"
        return replace(edge, ways=_no_most(edge.ways), why=why)

    def _is_own(self, done: Done) -> bool:
        """Whether a return goes to the caller, all else being off the stack."""
        return self._is_back(done) and not done.state.taken

    def _is_back(self, done: Done) -> bool:
        return return_offset(done.target) is not None and not done.state.stack

    def _calls(
        self, address: int, known: Known, done: Done, ways: Both, jumps: bool | None
    ) -> Iterator[Edge]:
        target = known_address(done.target)
        assert target is not None  # it stands in the instruction
        one = self.instruction(address)
        following = address + one.length
        if not self.is_code(target):
            why = f"no code of the image is at {target:04X}"
            yield Edge(address, LOST, _no_most(ways), known, jumps, why=why)
            return
        ends, why = self._call(target, done.state)
        for end in ends:
            inside = end.ways
            whole = _called(ways, inside)
            kept = end.known.state.registers
            registers = tuple(_back_again(byte, known.state.registers) for byte in kept)
            state = replace(
                known.state, registers=registers, flags=end.known.state.flags, ie=end.known.state.ie
            )
            changes = frozenset(reg for reg in map(Reg, HELD) if _is_changed(reg, end, known))
            edge = Edge(address, LOST, whole, Known(state), jumps, changes, why)
            is_lost = left_by(end.offset) == LOST
            yield edge if is_lost else self._to((following + end.offset) % _SPACE, edge)

    # --- time ----------------------------------------------------------------------

    def _ways(self, address: int, one: Instruction, done: Done, jumps: bool | None) -> Both:
        cycles = one.cycles
        if jumps is False and one.cycles_not_taken is not None:
            cycles = one.cycles_not_taken
        bare = sum(cycle.t_states for cycle in cycles)
        reads = sum(cycle.address is Addr.PC for cycle in cycles)
        bare += sum(self._waits.at(address + n) for n in range(reads))
        spans = [self._span(access) for access in done.accesses] if jumps is not False else []
        least = bare + sum(span.least for span in spans)
        most = bare + sum(span.most for span in spans)
        shortest, longest = (Path(t, step=Step(address, t, jumps)) for t in (least, most))
        return Both(shortest, longest)

    def _span(self, access: Access) -> Span:
        waits, address = self._waits, access.address
        if access.kind in IO_CYCLES:
            return waits.any_port if address is None else _exactly(waits.port(address))
        if address is not None:
            return _exactly(waits.at(address))
        return waits.stack if access.is_stack else waits.anywhere


def _exactly(waits: int) -> Span:
    return Span(waits, waits)


def _no_most(ways: Both) -> Both:
    return Both(ways.least, None)


def _called(ways: Both, inside: Both) -> Both:
    """A CALL with the routine that it calls, as one step."""
    least = _with(ways.least, inside.least)
    both = ways.most is not None and inside.most is not None
    return Both(least, _with(ways.most, inside.most) if both else None)  # type: ignore[arg-type]


def _with(way: Path, inside: Path) -> Path:
    assert way.step is not None
    t = way.t + inside.t
    return Path(t, step=way.step._replace(t=t, called=inside.t))


def _told_by(one: Instruction, known: Known, jumps: bool | None) -> Known:
    """What a condition tells of its flag, and of what the flag tells."""
    if one.condition is None or jumps is None:
        return known
    flags = told_by(one, known.state.flags, jumps)
    state = replace(known.state, flags=flags)
    if FLAG_MASKS[one.condition][0] == ZERO:
        is_zero = bool(flags.value & ZERO)
        registers = tuple(
            _told_of(byte, is_zero) if reg in known.zeros else byte
            for reg, byte in enumerate(state.registers)
        )
        state = replace(state, registers=registers)
    return Known(state, known.zeros)


def _told_of(byte: Byte, is_zero: bool) -> Byte:
    """A byte of which it is known whether it is nought."""
    if is_zero:
        return 0
    return one_of(byte.values - {0}) if isinstance(byte, Among) else byte


def _zeros(one: Instruction, known: Known) -> frozenset[Reg]:
    """Registers that are nought if Z is set after the instruction."""
    if "Z" not in one.flags.split():
        return known.zeros - changed(one)
    last = one.cycles[-1]
    if last.does in (Op.DCR, Op.INR) and last.register <= Reg.A and last.register != Reg.TMP:
        return frozenset({last.register})
    if last.does in _KEEPS_A:
        return frozenset({Reg.A})
    return frozenset()


def entering(caller: State | None = None) -> State:
    """What is known at the beginning of a routine.

    Args:
        caller: what its caller knows; None if nobody is known to call it.
    """
    state = called() if caller is None else called_from(caller)
    own = HELD | {Reg.F}
    registers = tuple(byte if n in own else None for n, byte in enumerate(state.registers))
    return replace(state, registers=registers)


def _back_again(byte: Byte, caller: Registers) -> Byte:
    """What a byte at a routine's end is to its caller, who knew ``caller`` before."""
    if isinstance(byte, Kept):
        return caller[byte.register]
    return byte if isinstance(byte, (int, Among)) or byte is FLAGS else None


def _is_changed(reg: Reg, end: CallEnd, before: Known) -> bool:
    byte = end.known.state.registers[reg]
    is_same = isinstance(byte, int) and byte == before.state.registers[reg]
    return byte != Kept(reg) and not is_same
