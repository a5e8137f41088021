"""What a timing card may be about, and how a user names it.

An instruction by its assembly (``MOV M,A``, the operand left out or given), by its opcode in
hexadecimal (``77``), or one of the things that the CPU does without an instruction of the
program: taking an interrupt, halt, hold and reset.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Mapping
from dataclasses import dataclass

from emu85.errors import UserError, nearest
from emu85.isa import INSTRUCTIONS, OPERAND_BYTES, Instruction, Operand
from emu85.stops.numbers import read_number
from emu85.wording import counted

_OPCODE = re.compile(r"0?[0-9A-F]{1,2}H|[0-9A-F]{1,2}")
_CALL, _RST = 0xCD, 0xC7
EXPECTED = 'an instruction such as "MOV M,A", an opcode such as 77, or one of '


class Event(enum.Enum):
    """What the CPU does beside the instructions of a program, and a line about it."""

    TRAP = "how the input TRAP is taken"
    RST75 = "how the input RST 7.5 is taken"
    RST65 = "how the input RST 6.5 is taken"
    RST55 = "how the input RST 5.5 is taken"
    INTR = "how the input INTR is taken"
    HALT = "the halt state, and an interrupt that ends it"
    HOLD = "the bus is given to another master, and comes back"
    RESET = "RESET IN, and the first fetch after it"


INPUTS = {
    Event.TRAP: "TRAP",
    Event.RST75: "RST 7.5",
    Event.RST65: "RST 6.5",
    Event.RST55: "RST 5.5",
}
"""Those that come by an input with a vector of its own, and the input's name."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What a card is about.

    Attributes:
        instruction: the instruction; of INTR the one that is jammed; else None.
        operand: the value of its byte-carrying operand; None for an example's.
        event: None for an instruction of the program.
    """

    instruction: Instruction | None
    operand: int | None = None
    event: Event | None = None

    @property
    def name(self) -> str:
        """As a user may write it."""
        if self.event is Event.INTR:
            return f"INTR {self._assembly}"
        if self.event is not None:
            return INPUTS.get(self.event, self.event.name)
        return self._assembly

    @property
    def _assembly(self) -> str:
        assert self.instruction is not None
        return self.instruction.text("" if self.operand is None else _number(self))


def _number(subject: Subject) -> str:
    assert subject.instruction is not None
    digits = f"{subject.operand:0{2 * (subject.instruction.length - 1)}X}H"
    return digits if digits[0].isdigit() else f"0{digits}"


def _jammed(opcode: int, operand: int | None = None) -> Subject:
    return Subject(INSTRUCTIONS[opcode], operand, Event.INTR)


EVENTS: tuple[Subject, ...] = (
    *(Subject(None, event=event) for event in INPUTS),
    _jammed(_RST | 5 << 3),
    _jammed(_CALL),
    *(Subject(None, event=event) for event in (Event.HALT, Event.HOLD, Event.RESET)),
)
"""One of each kind that has a card beside the instructions."""

EVENT_NAMES = tuple("INTR RST n" if one.name == "INTR RST 5" else one.name for one in EVENTS)


def instruction_subject(opcode: int, operand: int | None = None) -> Subject:
    """The instruction of an opcode, with the value of its operand if there is one to name."""
    return Subject(INSTRUCTIONS[opcode], operand)


def subject_named(text: str, symbols: Mapping[str, int] | None = None) -> Subject:
    """What the user means.

    Args:
        symbols: names that an operand may have.

    Raises:
        UserError: nothing there is; with the nearest there is.
    """
    words = " ".join(text.upper().split())
    known = {name.upper(): value for name, value in (symbols or {}).items()}
    found = _event(words, known)
    if found:
        return found
    mnemonic, _, rest = words.partition(" ")
    alike = [one for one in INSTRUCTIONS if mnemonic == one.mnemonic or mnemonic in one.aliases]
    if alike:
        return _with_operands(
            text, alike, [word.strip() for word in rest.split(",") if rest], known
        )
    if _OPCODE.fullmatch(words):
        return Subject(INSTRUCTIONS[int(words.removesuffix("H"), 16)])
    raise UserError(
        f"there is no instruction {text.strip()!r}" if words else "no instruction is named",
        expected=EXPECTED + ", ".join(EVENT_NAMES),
        nearest=nearest(words, [*(one.text() for one in INSTRUCTIONS), *EVENT_NAMES])
        or nearest(mnemonic, [one.mnemonic for one in INSTRUCTIONS]),
    )


def _event(words: str, symbols: Mapping[str, int]) -> Subject | None:
    packed = words.replace(" ", "")
    for subject in EVENTS:
        if subject.event is not Event.INTR and subject.name.replace(" ", "") == packed:
            return subject
    first, _, rest = words.partition(" ")
    if first != Event.INTR.name:
        return None
    if not rest:
        raise UserError(
            "INTR is answered by an instruction", expected="INTR RST 0 to INTR RST 7, or INTR CALL"
        )
    found = subject_named(rest, symbols)
    instruction = found.instruction
    if found.event or instruction is None or instruction.mnemonic not in ("RST", "CALL"):
        raise UserError(
            f"no circuit here answers INTR by {rest}",
            expected="INTR RST 0 to INTR RST 7, or INTR CALL",
        )
    return Subject(instruction, found.operand, Event.INTR)


def _with_operands(
    text: str, alike: list[Instruction], written: list[str], symbols: Mapping[str, int]
) -> Subject:
    """The one of a mnemonic's instructions that has these operands.

    Raises:
        UserError: none has.
    """
    for one in alike:
        literal = [word for word in one.operands if isinstance(word, str)]
        carried = [word for word in one.operands if isinstance(word, Operand)]
        if written[: len(literal)] != literal:
            continue
        values = written[len(literal) :]
        if not values or (carried and values == [carried[0].value.upper()]):
            return Subject(one)
        if carried and len(values) == 1:
            return Subject(one, _value(values[0], OPERAND_BYTES[carried[0]], symbols))
    forms = list(dict.fromkeys(one.text() for one in alike))
    most = max(len(one.operands) for one in alike)
    if len(written) > most > 0:
        raise UserError(
            f"{text.strip()!r} has {counted(len(written), 'operand')}",
            expected=f"{counted(most, 'operand')} of {alike[0].mnemonic}",
        )
    shown = forms if len(forms) <= _MOST_SHOWN else [*forms[: _MOST_SHOWN - 1], "..."]
    wrong = f"{text.strip()!r} is no instruction"
    raise UserError(
        wrong if written else f"{alike[0].mnemonic} needs its operands",
        expected=f"{'one of ' if len(forms) > 1 else ''}{', '.join(shown)}",
        nearest=nearest(" ".join(text.upper().split()), [*forms, *EVENT_NAMES]) if written else "",
    )


_MOST_SHOWN = 8


def _value(text: str, size: int, symbols: Mapping[str, int]) -> int:
    """A byte or word in hexadecimal unless a suffix says otherwise, or a symbol.

    Raises:
        UserError: it is none, or too large.
    """
    named = symbols.get(text) if not text[:1].isdigit() else None
    value = read_number(text, 2 * size) if named is None else named
    if value is None or not 0 <= value < 1 << 8 * size:
        raise UserError(
            f"{text!r} is no operand here",
            expected="a byte, 00 to FF" if size == 1 else "a number, 0000 to FFFF",
            nearest=nearest(text, symbols),
        )
    return value
