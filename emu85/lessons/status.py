"""Name the machine cycle from the status lines."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from emu85.bus.cycles import DESCRIPTIONS, LEVELS, Cycle, Levels
from emu85.console.views import bus
from emu85.console.views.code import begun
from emu85.errors import UserError, nearest
from emu85.lessons.exercise import Exercise, Judgement, Lesson
from emu85.machine import Machine

_BOARD = "breakwater"
_TYPES = [cycle.name for cycle in Cycle if cycle is not Cycle.RESET]
_FORM = "a type of machine cycle, such as OF, or its name, such as opcode fetch"
_TRACE = 4096
_SHORTEST, _LONGEST = 20_000, 60_000
"""T-states after power-on."""
_HELD = "hold"
"""The key that asks for the bus."""
_BEFORE = 3
"""Machine cycles shown before the one in question, to explain it."""


class NameTheCycle(Exercise):
    """Which type a machine cycle has, by its status lines and strobes."""

    def __init__(self, random: Random) -> None:
        self.machine = Machine.from_board(_BOARD, trace=_TRACE)
        firmware = self.machine.board.firmware
        if firmware is not None:
            self.machine.load(firmware)
        self._run(random)
        kinds = self.machine.trace.last(_TRACE)["type"]
        kind = random.choice(sorted({int(one) for one in kinds} - {Cycle.RESET}))
        places = [at for at, one in enumerate(kinds) if one == kind and at >= _BEFORE]
        self._place = random.choice(places)
        self._record = self.machine.trace.last(_TRACE)[self._place]
        self._cycle = Cycle(kind)
        self.task = [*_pins(self._record), "Which type of machine cycle, or which state, is this?"]
        self.asked = " ".join(line.strip() for line in self.task[:-1])
        self.form = _FORM
        self.hints = (
            "IO/M tells memory from I/O. S1 and S0 tell reading (1 0), writing (0 1), an opcode "
            "fetch or an acknowledge (1 1), and a halt (0 0).",
            "If no strobe goes low, nothing crosses the bus. If IO/M and the strobes float, the "
            "CPU has let go of them: in a halt S1 and S0 are 0, in a hold they are unspecified.",
        )
        self.words = frozenset({"help"})  # to look at the bus would be to look up the answer

    def judge(self, answer: str) -> Judgement:
        said = _read(answer)
        if said is self._cycle:
            return Judgement(True)
        return Judgement(False, f"{said.name} has {_status(LEVELS[said])}.")

    def right(self) -> str:
        return f"{self._cycle.name} ({DESCRIPTIONS[self._cycle]})"

    def explain(self, width: int) -> Iterator[str]:
        records = self.machine.trace.last(_TRACE)[self._place - _BEFORE : self._place + 1]
        yield "The last of these:"
        yield from bus.header(width)
        yield from bus.rows(records, width, lambda record: begun(self.machine, record))

    def _run(self, random: Random) -> None:
        machine = self.machine
        machine.run(t_states=random.randrange(_SHORTEST, _LONGEST), wait=True)
        machine.board.adjust(_HELD, "press")
        machine.run(t_states=100, wait=True)
        machine.run(t_states=random.randrange(_SHORTEST // 4, _SHORTEST), wait=True)


def _pins(record: bus.Record) -> Iterator[str]:
    """What stands on the pins; no more than a lamp on each would show."""
    shown = bus.levels(record)
    yield f"  IO/M {_level(shown.io_m)}   S1 {_state(shown.s1)}   S0 {_state(shown.s0)}"
    yield (
        f"  RD {_level(shown.rd)}   WR {_level(shown.wr)}   INTA {_level(shown.inta)}   "
        f"{'ALE pulses in T1' if shown.ale else 'no ALE'}"
    )
    is_floating = Cycle(int(record["type"])) in (Cycle.HALT, Cycle.HOLD)
    address = "floats" if is_floating else f"{int(record['address']):04X}"
    data = "floats" if is_floating else f"{int(record['data']):02X}"
    yield f"  address {address}   data {data}"


def _level(level: int | None) -> str:
    return "floats" if level is None else str(level)


def _state(level: int | None) -> str:
    """S1 or S0: in a hold the data sheet does not say to what they are driven."""
    return "unspecified" if level is None else str(level)


def _status(shown: Levels) -> str:
    status = (
        f"IO/M {_level(shown.io_m)}",
        f"S1 {_state(shown.s1)}",
        f"S0 {_state(shown.s0)}",
    )
    strobes = (("RD", shown.rd), ("WR", shown.wr), ("INTA", shown.inta))
    active = next((f"{name} goes low" for name, level in strobes if level == 0), "no strobe")
    return f"{', '.join(status)} and {active}"


def _read(answer: str) -> Cycle:
    said = " ".join(answer.split()).casefold()
    for name in _TYPES:
        if said in (name.casefold(), DESCRIPTIONS[Cycle[name]].casefold()):
            return Cycle[name]
    raise UserError(
        f"{answer.strip()!r} is no type of machine cycle",
        expected=", ".join(_TYPES),
        nearest=nearest(answer.strip().upper(), _TYPES),
    )


LESSON = Lesson(
    "status",
    "name the machine cycle from the status lines",
    (
        "At the start of each machine cycle the CPU tells by IO/M, S1 and S0 what is coming, and "
        "in T2 and T3 a strobe goes low: RD for a read, WR for a write, INTA for an interrupt "
        "acknowledge. A repairer who sees these lines knows what the CPU was about.",
        "The cycles are of breakwater, a harbour light that runs meanwhile. Besides OF, MR, MW, "
        "IOR, IOW, INA and BI there are two states without a machine cycle: HALT and HOLD.",
    ),
    NameTheCycle,
)
