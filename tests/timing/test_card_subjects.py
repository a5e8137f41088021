"""What the user writes for a timing card, and what is meant by it."""

from __future__ import annotations

import pytest

from emu85.errors import UserError
from emu85.timing.subjects import EVENTS, Event, subject_named
from tests.published.opcodes import OPCODES


@pytest.mark.parametrize("lower", [False, True])
def test_every_opcode_is_found_by_its_assembly(lower: bool) -> None:
    for code, one in OPCODES.items():
        operands = ",".join(
            {"nn": "1234", "d16": "1234", "d8": "12", "port": "12"}.get(o, o) for o in one.operands
        )
        text = f"{one.mnemonic} {operands}"
        found = subject_named(text.lower() if lower else text)
        assert found.instruction is not None
        assert found.instruction.opcode == code
        assert found.event is None
        has_word = "nn" in one.operands or one.mnemonic == "LXI"
        assert found.operand == (0x1234 if has_word else 0x12 if one.size == 2 else None)


@pytest.mark.parametrize("form", ["{:02X}", "{:02x}", "{:02X}H", "0{:02X}h"])
def test_every_opcode_is_found_by_its_number(form: str) -> None:
    for code, one in OPCODES.items():
        text = form.format(code)
        if text.upper() == "CC":
            continue  # the mnemonic of a call
        found = subject_named(text)
        assert found.instruction is not None
        assert found.instruction.opcode == code, (text, one)


def test_a_mnemonic_of_two_hexadecimal_digits_is_the_mnemonic() -> None:
    found = subject_named("cc")
    assert found.instruction is not None
    assert found.instruction.opcode == 0xDC


@pytest.mark.parametrize(
    ("text", "event", "operand"),
    [
        ("trap", Event.TRAP, None),
        (" RST  7.5 ", Event.RST75, None),
        ("rst6.5", Event.RST65, None),
        ("Rst 5.5", Event.RST55, None),
        ("INTR RST 3", Event.INTR, None),
        ("intr call", Event.INTR, None),
        ("INTR CALL 1234", Event.INTR, 0x1234),
        ("halt", Event.HALT, None),
        ("hold", Event.HOLD, None),
        ("reset", Event.RESET, None),
    ],
)
def test_what_is_no_instruction_of_a_program(text: str, event: Event, operand: int | None) -> None:
    found = subject_named(text)
    assert (found.event, found.operand) == (event, operand)


def test_names_lead_back_to_what_they_name() -> None:
    for subject in EVENTS:
        assert subject_named(subject.name) == subject


def test_symbols_stand_for_operands() -> None:
    symbols = {"Loop": 0x0120, "A5": 0x1234}
    assert subject_named("jmp LOOP", symbols).operand == 0x0120
    assert subject_named("jmp a5", symbols).operand == 0x1234
    assert subject_named("jmp 0a5", symbols).operand == 0xA5
    with pytest.raises(UserError, match="a byte, 00 to FF"):
        subject_named("out loop", symbols)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no instruction is named; expected an instruction such as"),
        ("MVO A,B", "did you mean 'MOV A,B'"),
        ("mov m,m", "is no instruction; expected one of MOV B,B"),
        ("LXI HL,2050", "expected one of LXI B,d16, LXI D,d16, LXI H,d16, LXI SP,d16"),
        ("MOV", "MOV needs its operands"),
        ("NOP 5", "'NOP 5' is no instruction; expected NOP"),
        ("MVI A,100", "'100' is no operand here; expected a byte, 00 to FF"),
        ("JMP 12345", "'12345' is no operand here; expected a number, 0000 to FFFF"),
        ("JMP 1,2", "'JMP 1,2' has 2 operands; expected 1 operand of JMP"),
        ("MOV A,M,B", "'MOV A,M,B' has 3 operands; expected 2 operands of MOV"),
        ("ADD A,B", "'ADD A,B' has 2 operands; expected 1 operand of ADD"),
        ("RST 8", "expected one of RST 0, RST 1"),
        ("RST 7.4", "did you mean 'RST 7.5'"),
        ("INTR", "INTR is answered by an instruction"),
        ("INTR NOP", "no circuit here answers INTR by NOP"),
        ("INTR TRAP", "no circuit here answers INTR by TRAP"),
        ("100", "there is no instruction '100'"),
        ("HLOD", "did you mean 'HOLD'"),
    ],
)
def test_what_there_is_no_card_of(text: str, told: str) -> None:
    with pytest.raises(UserError) as error:
        subject_named(text)
    assert told in str(error.value)
