"""What the CPU does in each T-state of a machine cycle, put in words from the table's row.

Sources: MCS-80/85 Family User's Manual, October 1979, chapter 2, the table of the 8085A's CPU
states, its machine cycle chart and its state chart (values from memory).  What T5 and T6 do is
told there only as "complete the execution of some instructions"; in which of the two it
happens is not published, so they are told together.  Where DAD adds which byte is the 8080's
instruction state table (MCS-80 User's Manual, value from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from emu85.bus.cycles import IO_CYCLES, READS, STATES, WRITES, Cycle
from emu85.isa import Addr, Condition, Instruction, MachineCycle, Op, Reg
from emu85.isa.operations import PAIR_OPS, PAIRS, operation_text

CONDITION_TEXT = {
    Condition.NZ: "Z is 0",
    Condition.Z: "Z is 1",
    Condition.NC: "CY is 0",
    Condition.C: "CY is 1",
    Condition.PO: "P is 0",
    Condition.PE: "P is 1",
    Condition.P: "S is 0",
    Condition.M: "S is 1",
    Condition.NK: "K is 0",
    Condition.K: "K is 1",
    Condition.V: "V is 1",
}
_ADDRESSES = {
    Addr.PC: "PC",
    Addr.PC_HELD: "PC",
    Addr.BC: "BC",
    Addr.DE: "DE",
    Addr.HL: "HL",
    Addr.WZ: "WZ",
    Addr.WZ_UP: "WZ",
    Addr.SP: "SP",
    Addr.SP_UP: "SP",
    Addr.SP_DOWN: "SP",
    Addr.PORT: "the port number",
}
_MOVES_ON = {
    Addr.PC: "PC goes up by one",
    Addr.WZ_UP: "WZ goes up by one",
    Addr.SP_UP: "SP goes up by one",
}
_REGISTERS = {Reg.PCH: "PC's high byte", Reg.PCL: "PC's low byte"}
_READY = "READY is sampled"
_WAIT = "READY was low: the lines stay as they are, and READY is sampled again"
_BUS_RESTS = "the bus rests"


@dataclass(frozen=True, slots=True)
class State:
    """A T-state, or several of one kind in a row.

    Attributes:
        name: T1 to T6, TW, THALT, THOLD or TRESET.
        count: how many.
        does: what happens in it.
    """

    name: str
    count: int
    does: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where in its instruction a row stands.

    Attributes:
        instruction: None beside instructions.
        following: the row after it, or None.
        number: which byte of the instruction a read at PC brings, from 1; 0 for none.
        met: whether the condition is met.
        address: what the row's address is, counted from the registers before the instruction.
    """

    instruction: Instruction | None
    following: MachineCycle | None
    number: int
    met: bool
    address: str


def register_text(register: Reg) -> str:
    """A register as a card names it."""
    return _REGISTERS.get(register, register.name)


def address_text(row: MachineCycle) -> str:
    """What is put on the address lines of a row: the register as it is by then."""
    return _ADDRESSES[row.address]


def states(row: MachineCycle, waits: int, length: int, place: Place) -> tuple[State, ...]:
    """The T-states of a machine cycle in order.

    Args:
        waits: wait states in it.
        length: T-states in all; those of a state can be any number.
    """
    stretch = _STRETCHES.get(row.kind)
    if stretch:
        return (State(f"T{row.kind.name}", length, stretch),)
    texts = list(_texts(row, place))
    done = [State(f"T{at}", 1, text) for at, text in enumerate(texts[:4], 1)]
    if len(texts) > 4:
        done.append(State("T5 T6", 2, texts[4]))
    if waits:
        done.insert(2, State("TW", waits, _WAIT))
    return tuple(done)


_STRETCHES = {
    Cycle.HALT: "S1 and S0 are low; A8-A15, AD0-AD7, RD, WR and IO/M float. Interrupts and HOLD "
    "are looked at in every T-state; nothing else is done",
    Cycle.HOLD: "HLDA is high; A8-A15, AD0-AD7, RD, WR and IO/M float, so that another bus "
    "master can drive them. HOLD is sampled in every T-state",
    Cycle.RESET: "RESET OUT is high; PC, IR, IE and the halt flip-flop are cleared, the RST masks "
    "are set, the buses float. It takes three T-states at least",
}


def _texts(row: MachineCycle, place: Place) -> Iterator[str]:
    yield _first(row)
    yield _second(row)
    yield _third(row, place)
    if row.t_states > 3:
        yield _fourth(row, place)
    if row.t_states > 4:
        yield _fifth(row, place)


def _first(row: MachineCycle) -> str:
    if row.kind is Cycle.BI and not row.acknowledges:
        return f"no ALE, no strobe: {_BUS_RESTS}"
    if row.kind in IO_CYCLES:
        return (
            "the port number comes out on A8-A15 and on AD0-AD7 alike, IO/M goes high; at ALE's "
            "fall a latch keeps it"
        )
    before = "SP goes down by one; " if row.address is Addr.SP_DOWN else ""
    text = (
        f"{before}{address_text(row)} comes out on A8-A15 and AD0-AD7; at ALE's fall a latch keeps "
        "the low byte"
    )
    if row.acknowledges:
        return f"all three status lines go high; {text}"
    return text


def _second(row: MachineCycle) -> str:
    if row.acknowledges:
        return "no strobe falls, PC is held: the CPU makes the opcode itself"
    if row.kind is Cycle.BI:
        return "inside the CPU; READY is not looked at"
    if row.kind is Cycle.INA:
        return f"INTA falls in place of RD, AD0-AD7 are let go; PC is held; {_READY}"
    moves = _MOVES_ON.get(row.address, "")
    ends = f"{moves}; {_READY}" if moves else _READY
    if row.kind in WRITES:
        return f"WR falls; the CPU puts {register_text(row.register)} on AD0-AD7; {ends}"
    return f"AD0-AD7 are let go, RD falls; {ends}"


def _third(row: MachineCycle, place: Place) -> str:
    if row.acknowledges:
        return "an RST with the input's own vector is put into the instruction register"
    if row.kind is Cycle.BI:
        return f"{_BUS_RESTS}; {_idle(row, place)}"
    if row.kind in WRITES:
        taker = "the port" if row.kind is Cycle.IOW else "the memory"
        return _joined(
            f"WR rises, and {taker} has the byte; AD0-AD7 hold it a little longer",
            operation_text(row),
        )
    giver, strobe = _GIVERS[row.kind]
    is_opcode = row.kind is Cycle.OF or (row.kind is Cycle.INA and place.number == 1)
    into = "the instruction register" if is_opcode else register_text(row.register)
    text = f"{giver} drives AD0-AD7; {strobe} rises, and the byte goes into {into}"
    if is_opcode:
        return text
    if row.tests:
        return f"{text}; {_verdict(row, place)}"
    return _joined(text, operation_text(row))


_GIVERS = {
    Cycle.OF: ("the memory", "RD"),
    Cycle.MR: ("the memory", "RD"),
    Cycle.IOR: ("the port", "RD"),
    Cycle.INA: ("the interrupting circuit", "INTA"),
}


def _idle(row: MachineCycle, place: Place) -> str:
    """What a bus idle cycle is there for."""
    does = operation_text(row)
    following = place.following
    if not does and following is not None and following.does is Op.DAD:
        pair = PAIRS[Reg(following.operand)]
        return f"the low bytes of HL and {pair} are added"
    if row.does is Op.DAD:
        return f"the high bytes are added with the carry between: {does}"
    return does or "inside the CPU the work goes on"


def _fourth(row: MachineCycle, place: Place) -> str:
    if row.t_states > 4:
        return f"the opcode is decoded: it wants two more T-states; {_BUS_RESTS}"
    return _joined("the opcode is decoded", operation_text(row))


def _fifth(row: MachineCycle, place: Place) -> str:
    if row.tests:
        return f"inside the CPU: {_verdict(row, place)}"
    return f"inside the CPU: {inner_text(row, place)}; {_BUS_RESTS}"


def inner_text(row: MachineCycle, place: Place) -> str:
    """What the two further T-states of a fetch of six are for."""
    does = operation_text(row)
    if does:
        return f"16-bit incrementer, {does}" if row.does in PAIR_OPS else does
    if place.instruction is not None and place.instruction.condition is not None:
        return "SP is made ready for a push that may come"
    return "SP is made ready for the push"


def _verdict(row: MachineCycle, place: Place) -> str:
    """What the look at the condition comes to."""
    condition = _condition(place)
    if place.met:
        return f"{condition.name} is met ({CONDITION_TEXT[condition]}), so it goes on"
    passed = "; PC passes over byte 3, which is not read" if row.skips else ""
    return f"{condition.name} is not met, so it ends here{passed}"


def purpose(row: MachineCycle, place: Place) -> str:
    """Why a machine cycle is there, in a few words."""
    text = _aim(row, place)
    if row.kind in STATES or (row.kind is Cycle.BI and not row.acknowledges):
        return text
    if row.t_states > 4:
        inner = "look at the condition" if row.tests else inner_text(row, place)
        text = f"{text}; two more T-states: {inner}"
    elif not row.tests:
        text = _joined(text, operation_text(row))
    if row.tests and not place.met:
        return f"{text}; {_condition(place).name} is not met: the end"
    return text


def _condition(place: Place) -> Condition:
    condition = place.instruction.condition if place.instruction else None
    assert condition is not None
    return condition


def _aim(row: MachineCycle, place: Place) -> str:
    if row.kind is Cycle.OF:
        return "fetch the opcode and decode it"
    if row.acknowledges:
        return "acknowledge: an RST made inside is decoded"
    if row.kind is Cycle.BI:
        return _idle(row, place)
    if row.kind is Cycle.INA:
        which = "the opcode and decode it" if place.number == 1 else f"byte {place.number}"
        return f"acknowledge: read {which}"
    if row.kind in WRITES:
        where = "the port" if row.kind is Cycle.IOW else f"memory at {place.address}"
        return f"write {register_text(row.register)} to {where}"
    if row.kind in READS:
        if row.kind is Cycle.IOR:
            return f"read the port into {register_text(row.register)}"
        if place.number:
            return f"read byte {place.number} ({_byte_text(place)}) into {row.register.name}"
        return f"read memory at {place.address} into {register_text(row.register)}"
    return _STATE_AIMS[row.kind]


_STATE_AIMS = {
    Cycle.HALT: "wait for an interrupt, as long as it takes",
    Cycle.HOLD: "the bus is another master's, as long as HOLD is high",
    Cycle.RESET: "the CPU is reset, as long as RESET IN is low",
}


def _byte_text(place: Place) -> str:
    instruction = place.instruction
    if instruction is None or instruction.length == 1:
        return "a byte"
    kind = next(word for word in instruction.operands if not isinstance(word, str))
    if instruction.length == 2:
        return {"port": "the port number"}.get(kind.value, "the datum")
    what = "address" if kind.value == "addr" else "datum"
    return f"{what}, {'low' if place.number == 2 else 'high'} byte"


def _joined(text: str, more: str) -> str:
    return f"{text}; {more}" if more else text
