"""Find the write that broke the stack."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from emu85.bus.cycles import Cycle
from emu85.console.numbers import address, number
from emu85.console.views import bus
from emu85.console.views.code import begun
from emu85.errors import UserError
from emu85.firmware import assemble
from emu85.isa import INSTRUCTIONS, Addr, Reg
from emu85.lessons.exercise import Exercise, Judgement, Lesson
from emu85.lessons.runaway import runaway
from emu85.machine import Machine, Reason

_BOARD = "slate"
_FORM = "'at 0123', the instruction that wrote it, or 'T 4711', when the write began"
_LONGEST = 200_000
"""T-states within which each of the programs has run away."""
_WILD = "on OF with finding"


class Write(NamedTuple):
    """A memory write, and the opcode fetch of the instruction that made it."""

    fetch: bus.Record
    write: bus.Record


class BrokenStack(Exercise):
    """A program that has run away by a return address that was none."""

    def __init__(self, source: str) -> None:
        self._image = assemble(source, "the program").image
        self.machine, judged = self._at_power_on(), self._at_power_on()
        _run_away(judged)
        self._culprits = culprits(judged)
        wild = int(judged.trace[-1]["address"])
        self.asked = f"a runaway to {wild:04X} at T {judged.t}"
        self.task = [
            f"This program has run away: the machine holds at the opcode fetch at {wild:04X}, "
            "where no code is, because a RET took a return address that no CALL had put there.",
            "Which write put it there? All console words may be used to find out; 'code 0100 40' "
            "shows the program.",
        ]
        self.form = _FORM
        self.hints = (
            "'bus 8' shows what has just happened: the RET read two bytes, and the memory reads "
            "say where from.",
            "'who' and an address tells which write last changed a byte, and by which "
            "instruction. One of the two bytes may still be what the CALL wrote.",
        )
        self.words = None

    def begin(self) -> None:
        _run_away(self.machine)

    def judge(self, answer: str) -> Judgement:
        words = answer.split()
        if words[0].casefold() == "t":
            t = number("".join(words[1:]), 10, 0, 1 << 62, _FORM)
            if any(int(one.write["t"]) == t for one in self._culprits):
                return Judgement(True)
            return Judgement(False, f"No byte of that return address was written at T {t}.")
        text = "".join(words[1:] if words[0].casefold() == "at" else words)
        at = address(text, self.machine.symbols, 0xFFFF, _FORM)
        if any(int(one.fetch["address"]) == at for one in self._culprits):
            return Judgement(True)
        return Judgement(
            False, f"The instruction at {at:04X} wrote none of the bytes that the RET took."
        )

    def right(self) -> str:
        one = self._culprits[-1]
        return f"at {int(one.fetch['address']):04X}, T {int(one.write['t'])}"

    def explain(self, width: int) -> Iterator[str]:
        yield from bus.header(width)
        for one in self._culprits:
            yield from bus.rows(
                [one.fetch, one.write], width, lambda record: begun(self.machine, record)
            )

    def _at_power_on(self) -> Machine:
        machine = Machine.from_board(_BOARD)
        machine.load(self._image)
        return machine


def _run_away(machine: Machine) -> None:
    """Let it come to where no code is.

    Raises:
        AssertionError: it does not.
    """
    stop = machine.stops.add(_WILD)
    held = machine.run(t_states=_LONGEST)
    machine.stops.drop(stop.number)
    if held.reason is not Reason.STOP:
        raise AssertionError("the program does not run away")


def culprits(machine: Machine) -> list[Write]:
    """The writes that left a wrong return address, while the machine holds where it led.

    They are the last ones, before the RET, to either of the two bytes that it took; what a
    CALL or an RST wrote is no culprit.

    Raises:
        UserError: the last two cycles before the opcode fetch are not those of a RET.
    """
    records = machine.trace.all()
    low, high = records[-3], records[-2]
    if low["type"] != Cycle.MR or high["type"] != Cycle.MR:
        raise UserError("the machine has not come here by a RET")
    before = records[:-3]
    writes = (_last_write(before, int(one["address"])) for one in (low, high))
    return sorted(
        (one for one in writes if one and not _puts_return_address(one)),
        key=lambda one: int(one.write["t"]),
    )


def _last_write(records: bus.Record, at: int) -> Write | None:
    written = (records["type"] == Cycle.MW) & (records["address"] == at)
    places = written.nonzero()[0]
    if not len(places):
        return None
    place = int(places[-1])
    fetch = int((records["type"][:place] == Cycle.OF).nonzero()[0][-1])
    return Write(records[fetch], records[place])


def _puts_return_address(one: Write) -> bool:
    """Whether the instruction pushes the PC: CALL, its conditions, and RST."""
    cycles = INSTRUCTIONS[int(one.fetch["data"])].cycles
    return any(c.address is Addr.SP_DOWN and c.register is Reg.PCH for c in cycles)


def _make(random: Random) -> BrokenStack:
    return BrokenStack(runaway(random))


LESSON = Lesson(
    "stack",
    "find the write that broke the stack",
    (
        "A RET is a jump to whatever two bytes SP points at. If anything else was written there "
        "since the CALL, or SP has moved, the CPU runs away. On a bench the trail is cold by then; "
        "here the trace has all of it, and the machine can go back.",
        "Words that help: 'bus 20', 'code START', 'who 87FE', 'back instruction', 'step', "
        "'find MW at 87FE'.",
    ),
    _make,
    2,
)
