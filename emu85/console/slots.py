"""The names that slots have in the usage of console forms, and the kind of each."""

from __future__ import annotations

from emu85.bus.cycles import DESCRIPTIONS, STATES, Cycle
from emu85.console.instruction_kind import CardSubject
from emu85.console.kinds import (
    Address,
    Choice,
    Condition,
    Context,
    Decimal,
    Duration,
    ExactDuration,
    File,
    Kind,
    Name,
    Named,
    Number,
    Offered,
    Pin,
    Range,
    Rest,
    Speed,
)

PAIRS = {
    "PC": "program counter",
    "SP": "stack pointer",
    "BC": "pair",
    "DE": "pair",
    "HL": "pair",
    "PSW": "A and the flags",
}
SINGLES = dict.fromkeys("ABCDEHL", "register") | {"F": "flags as a byte"}
FLAGS = {
    "S": "sign",
    "Z": "zero",
    "K": "K flag",
    "AC": "auxiliary carry",
    "P": "parity",
    "V": "overflow",
    "CY": "carry",
}
_CYCLES = {cycle.name: DESCRIPTIONS[cycle] for cycle in Cycle if cycle not in STATES}


def _pressed(context: Context) -> list[str]:
    """Devices that can be pressed."""
    devices = context.devices.items()
    return [name for name, one in devices if any(c.name == "press" for c in one.controls)]


def _worked(context: Context) -> list[str]:
    """Devices that a hand can do something to."""
    return [name for name, device in context.devices.items() if device.controls]


KINDS: dict[str, Kind] = {
    "ADDRESS": Address("an address (0000 to FFFF) or a symbol", 0xFFFF),
    "BYTE": Number("a byte (00 to FF)", 16, 0, 0xFF),
    "BUTTON": Named(
        "a key, button or keypad", _pressed, "this board has no key or button to press"
    ),
    "CHIP": Offered("a chip or device, or board", lambda c: [*c.timed, "board"]),
    "CONDITION": Condition(),
    "COUNT": Number("a count (decimal, from 1)", 10, 1, 1_000_000_000),
    "CYCLE": Choice(f"a cycle type ({', '.join(_CYCLES)})", _CYCLES),
    "END": Named("a serial end", lambda c: c.ends, "this board has no serial line"),
    "FILE": File(),
    "FLAG": Choice(f"a flag ({', '.join(FLAGS)})", FLAGS),
    "INSTRUCTION": CardSubject(),
    "JOINED": Named("a joined end", lambda c: c.joined, "no serial end is joined"),
    "KEY": Name("a key of a keypad"),
    "LEVEL": Choice("0 or 1", {"0": "low", "1": "high"}),
    "NAME": Name("letters of a name"),
    "NUMBER": Named(
        "the number of a stop",
        lambda c: [str(n) for n in c.stops],
        "there are no stops; 'stop on …' makes one",
    ),
    "PAIR": Choice(f"a register pair ({', '.join(PAIRS)})", PAIRS),
    "PIN": Pin(),
    "PORT": Address("a port (00 to FF) or a symbol", 0xFF),
    "RANGE": Range(),
    "RATE": Decimal("steps a second, 0.5 to 60", 0.5, 60.0),
    "REGISTER": Choice(f"a register ({', '.join(SINGLES)})", SINGLES),
    "SOURCE": File("the file to be sent to the board"),
    "SPEED": Speed(),
    "TARGET": File("the file for what the board sends"),
    "DEVICE": Named("a device", _worked, "this board has nothing to set by hand"),
    "TEXT": Rest(),
    "TIME": Duration(),
    "LENGTH": ExactDuration(),
    "WHERE": Name("a TCP port such as 4000, or ADDRESS:PORT"),
    "WORD": Named("a console word", lambda c: c.words, "there are no words"),
    "USE": Choice(
        "routine or inline",
        {"routine": "called: CALL and RET are counted", "inline": "no stack is used"},
    ),
    "VALUE": Address("a 16-bit value (0000 to FFFF) or a symbol", 0xFFFF),
}
"""By the name that stands in a form's usage."""
