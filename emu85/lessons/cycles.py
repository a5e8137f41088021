"""Predict the machine cycles of the next instruction."""

from __future__ import annotations

import re
from collections.abc import Iterator

from emu85.bus.cycles import STATES, Cycle
from emu85.console.views import bus
from emu85.console.views.code import begun
from emu85.console.views.registers import registers
from emu85.errors import UserError, nearest
from emu85.lessons.exercise import Exercise, Judgement, Lesson
from emu85.lessons.instructions import Placed, any_instruction

_TYPES = [cycle.name for cycle in Cycle if cycle not in STATES]
_FORM = "cycle types in order and then the T-states in all, such as: OF MR 7"


class NextInstruction(Exercise):
    """Which machine cycles an instruction has, and how long it takes."""

    def __init__(self, placed: Placed) -> None:
        self._placed = placed
        self.machine = placed.machine()
        self.asked = f"{placed.text} at {placed.address:04X}"
        self.task = [
            *registers(self.machine),
            f"Which machine cycles will {placed.text} have, and how many T-states in all?",
        ]
        self.form = _FORM
        length = placed.instruction.length
        self.hints = (
            f"The instruction is {length} byte{'s' if length > 1 else ''} long, and each has to "
            "be read. What else has to cross the bus?",
            "The first machine cycle is the opcode fetch: 4 T-states, or 6 where the CPU moves a "
            "register pair within itself. Every other has 3."
            + (" Look at the flags, too." if placed.instruction.condition is not None else ""),
        )
        self._done, self._t_states = self._run()

    def judge(self, answer: str) -> Judgement:
        types, t_states = _read(answer)
        done = [Cycle(int(record["type"])).name for record in self._done]
        if types != done:
            return Judgement(False, _amiss(types, done))
        if t_states != self._t_states:
            return Judgement(False, "The machine cycles are right, the T-states are not.")
        return Judgement(True)

    def right(self) -> str:
        names = " ".join(Cycle(int(record["type"])).name for record in self._done)
        return f"{names} {self._t_states}"

    def explain(self, width: int) -> Iterator[str]:
        yield from bus.header(width)
        yield from bus.rows(self._done, width, lambda record: begun(self._machine_after, record))
        ends = [*(int(record["t"]) for record in self._done[1:]), self._machine_after.t]
        lengths = [end - int(record["t"]) for end, record in zip(ends, self._done, strict=True)]
        parts = " + ".join(map(str, lengths))
        yield f"T-states: {parts} = {sum(lengths)}" if len(lengths) > 1 else f"T-states: {parts}"

    def _run(self) -> tuple[list[bus.Record], int]:
        machine = self._machine_after = self._placed.machine()
        began, before = machine.t, machine.trace.total
        machine.step_instruction()
        return list(machine.trace.last(machine.trace.total - before)), machine.t - began


def _read(answer: str) -> tuple[list[str], int]:
    words = re.split(r"[\s,+]+", answer.strip().upper())
    *types, last = words
    if not last.isdecimal():
        raise UserError("an answer ends with the T-states in all", expected=_FORM)
    for word in types:
        if word not in _TYPES:
            raise UserError(
                f"{word!r} is no type of machine cycle",
                expected=", ".join(_TYPES),
                nearest=nearest(word, _TYPES),
            )
    return types, int(last)


def _amiss(types: list[str], done: list[str]) -> str:
    if len(types) != len(done):
        return "There are more machine cycles." if len(types) < len(done) else "There are fewer."
    places = [str(at) for at, (one, other) in enumerate(zip(types, done, strict=True), 1)]
    wrong = [at for at, (a, b) in zip(places, zip(types, done, strict=True), strict=True) if a != b]
    return f"The number of machine cycles is right; not so the type of number {', '.join(wrong)}."


LESSON = Lesson(
    "cycles",
    "predict the machine cycles of the next instruction",
    (
        "An instruction is a row of machine cycles. The first is always an opcode fetch (OF). "
        "Further bytes of the instruction, and bytes that it takes from memory or from the stack, "
        "are memory reads (MR); bytes that it puts there are memory writes (MW). IN has an I/O "
        "read (IOR), OUT an I/O write (IOW). DAD needs the adder for longer than a fetch lasts "
        "and has bus idle cycles (BI).",
        "On slate nothing has wait states, and no interrupt comes.",
    ),
    lambda random: NextInstruction(any_instruction(random)),
)
