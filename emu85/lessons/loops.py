"""Count the T-states of a loop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from random import Random

from emu85.board import fit, load_board
from emu85.console.numbers import number
from emu85.console.views.code import listing
from emu85.firmware import assemble, disassemble_range
from emu85.firmware.disassembler import Line
from emu85.lessons.exercise import Exercise, Judgement, Lesson
from emu85.machine import Machine
from emu85.profile import Execution, Gathering
from emu85.wording import counted

_BOARD = "slate"
_ORIGIN = 0x0100
_FORM = "a decimal number of T-states"
_MOST_T = 10_000_000
_FILLERS = ("NOP", "ADD A", "ANA A", "XCHG", "CMP M", "MOV E,M", "INX H", "RLC", "CMC")
"""Instructions that leave the counters and the flag alone, before the counter is decremented."""
_BYTE_COUNTERS = ("B", "C", "D")
_BYTE = """        ORG     {origin}
START:  MVI     {one},{count}
LOOP:
{filler}
        DCR     {one}
        JNZ     LOOP
DONE:   NOP
"""
_PAIR = """        ORG     {origin}
START:  LXI     B,{count}
LOOP:
{filler}
        DCX     B
        MOV     A,B
        ORA     C
        JNZ     LOOP
DONE:   NOP
"""
_NESTED = """        ORG     {origin}
START:  MVI     B,{outer}
OUTER:  MVI     C,{count}
LOOP:
{filler}
        DCR     C
        JNZ     LOOP
        DCR     B
        JNZ     OUTER
DONE:   NOP
"""


class LoopTime(Exercise):
    """How long a loop takes from START to DONE."""

    def __init__(self, source: str, waits: int) -> None:
        self._image = assemble(source, "the loop").image
        self._waits = waits
        self.machine = self._at_start()
        reads = f"each read of the program EPROM has {counted(waits, 'wait state')}"
        self.task = [
            *self._code(),
            *([f"{reads[0].upper()}{reads[1:]}."] if waits else []),
            "How many T-states pass from the fetch at START to the fetch at DONE?",
        ]
        lines = (" ".join(line.split()) for line in source.splitlines()[1:])
        self.asked = "; ".join([*lines, *([reads] if waits else [])])
        self.form = _FORM
        self.hints = (
            "Write the T-states of each instruction beside it, and how often it is executed. "
            "A jump that is not taken is shorter.",
            "JNZ takes 10 T-states when it jumps and 7 when it does not; the last pass of a loop "
            "does not jump."
            + (" A wait state comes with every byte that is read from the EPROM." if waits else ""),
        )
        self._execution, self._t_states = self._run()

    def judge(self, answer: str) -> Judgement:
        said = number(answer.strip(), 10, 0, _MOST_T, _FORM)
        if said == self._t_states:
            return Judgement(True)
        return Judgement(False, "It takes longer." if said < self._t_states else "It takes less.")

    def right(self) -> str:
        return str(self._t_states)

    def explain(self, width: int) -> Iterator[str]:
        yield "address  instruction          times  T-states"
        fetches, times = self._execution.fetches, self._execution.t_states
        for line in self._lines():
            at = line.address
            yield f"{at:04X}     {line.text:<20} {fetches[at]:>5}  {times[at]:>8}"
        yield f"{'in all':<29} {fetches.sum():>5}  {times.sum():>8}"

    def _code(self) -> Iterator[str]:
        """The loop as the console lists it, with DONE."""
        return listing(self.machine, self._image.span[0], len(self._lines()) + 1)

    def _lines(self) -> Sequence[Line]:
        """The loop's instructions."""
        return disassemble_range(
            lambda at: self.machine.memory[at],
            self._image.span[0],
            self._image.symbols["DONE"],
            symbols=self.machine.symbols,
        )

    def _at_start(self) -> Machine:
        board = load_board(_BOARD)
        slow = [
            replace(chip, waits=self._waits) for chip in board.memory if chip.part.kind == "rom"
        ]
        fast = [chip for chip in board.memory if chip.part.kind != "rom"]
        machine = Machine(fit(replace(board, memory=(*slow, *fast))))
        machine.load(self._image)
        machine.registers.pc = self._image.symbols["START"]
        machine.registers.hl, machine.registers.de = 0x8000, 0x8100  # in the RAM
        return machine

    def _run(self) -> tuple[Execution, int]:
        machine, execution = self._at_start(), Execution()
        began = machine.t
        with Gathering(machine, execution):
            machine.run(until=self._image.symbols["DONE"])
        execution.finish(machine.t)
        return execution, machine.t - began


def _source(random: Random) -> str:
    filler = "\n".join(f"        {random.choice(_FILLERS)}" for _ in range(random.randrange(4)))
    template, largest = random.choice(((_BYTE, 256), (_PAIR, 2000), (_NESTED, 40)))
    return template.format(
        origin=_ORIGIN,
        one=random.choice(_BYTE_COUNTERS),
        count=random.randrange(2, largest),
        outer=random.randrange(2, 20),
        filler=filler or "        NOP",
    )


def _make(random: Random) -> LoopTime:
    return LoopTime(_source(random), random.choice((0, 0, 1, 2)))


LESSON = Lesson(
    "loops",
    "count the T-states of a loop",
    (
        "How long a loop takes is a sum: the T-states of each instruction times how often it is "
        "executed. The last pass differs from the others, since the jump back is not taken. "
        "Wait states lengthen each machine cycle that reads where they are.",
        "'code' shows the instructions again, 'regs' what the registers hold at START.",
    ),
    _make,
    3,
)
