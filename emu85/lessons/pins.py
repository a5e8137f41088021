"""Say what stands on AD0-AD7 in a T-state."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from emu85.bus.cycles import DESCRIPTIONS, Cycle
from emu85.bus.expand import State
from emu85.bus.pins import ADDRESS_DATA
from emu85.console.numbers import number
from emu85.console.views.code import begun
from emu85.console.views.registers import registers
from emu85.lessons.exercise import Exercise, Judgement, Lesson
from emu85.lessons.instructions import Placed, any_instruction
from emu85.timing.diagram_text import text_diagram
from emu85.timing.stretch import stretch_of

_FORM = "a byte such as 3E, or 'floats' where nobody drives the pins"
_FLOATS = ("floats", "floating", "float")
_ORDINALS = ("first", "second", "third", "fourth", "fifth")


class BusInTState(Exercise):
    """What AD0-AD7 show in the second half of a T-state, CLK being high."""

    def __init__(self, placed: Placed, random: Random) -> None:
        self.machine = placed.machine()
        after = placed.machine()
        before = after.trace.total
        after.step_instruction()
        self._stretch = stretch_of(
            after,
            len(after.trace) - (after.trace.total - before),
            after.trace.total - before,
            lambda record: begun(after, record),
        )
        states = self._stretch.states()
        self._state = random.choice([one for one in states if _is_clear(one)])
        cycle = Cycle(int(self._stretch.records[self._state.record]["type"]))
        place = f"{self._state.name} of the {_ORDINALS[self._state.record]} machine cycle"
        self.likeness = f"{place}, {cycle.name}"
        self.asked = f"{placed.text} at {placed.address:04X}, {place}"
        self.task = [
            *registers(self.machine),
            f"What stands on AD0-AD7 when {placed.text} is in the {_half(self._state)} half of "
            f"{place}, {DESCRIPTIONS[cycle]}?",
        ]
        self.form = _FORM
        self.hints = (
            "In T1 the low half of the address is there, for ALE to latch it.",
            "A read frees the pins at the start of T2, and the byte comes for T3, until RD rises "
            "in the middle of it. A write puts the byte there in T2 and keeps it to the end of T3. "
            "From T4 on, and in a bus idle cycle, nobody drives them.",
        )

    def judge(self, answer: str) -> Judgement:
        said = answer.strip().casefold()
        level = self._level()
        if said in _FLOATS:
            return Judgement(level is None, "" if level is None else "Something drives the pins.")
        byte = number(answer.strip(), 16, 0, 0xFF, _FORM)
        if level is None:
            return Judgement(False, "Nobody drives the pins then.")
        return Judgement(byte == level, "" if byte == level else "It is another byte.")

    def right(self) -> str:
        level = self._level()
        return "floats" if level is None else f"{level:02X}"

    def explain(self, width: int) -> Iterator[str]:
        yield from text_diagram(
            self._stretch, width=width, pins=("CLK", "ALE", "A8-A15", ADDRESS_DATA, "RD", "WR")
        )

    def _level(self) -> int | None:
        half = self._state.first if _half(self._state) == "first" else self._state.second
        level = half[ADDRESS_DATA]
        return level if isinstance(level, int) else None


def _half(state: State) -> str:
    """T3 is asked about while the strobe is low still, other T-states with CLK high."""
    return "first" if state.name == "T3" else "second"


def _is_clear(state: State) -> bool:
    """Not the T2 of a read: there the byte may come sooner or later, as the chip likes."""
    return state.name != "T2" or state.first["RD"] == 1


LESSON = Lesson(
    "pins",
    "say what stands on AD0-AD7 in a T-state",
    (
        "AD0-AD7 carry the low half of the address in T1, and then the byte, if the machine cycle "
        "moves one; between the two, and afterwards, they may float. That is why a board has an "
        "address latch, and why a logic analyser has to know when to look.",
        "The diagram is shown once you have answered. On slate nothing has wait states.",
    ),
    lambda random: BusInTState(any_instruction(random), random),
)
