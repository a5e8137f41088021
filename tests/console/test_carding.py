"""The console word for timing cards."""

from __future__ import annotations

from pathlib import Path

import pytest

from emu85.console.suggest import suggestions
from emu85.errors import UserError
from tests.console.bench import Bench

PROGRAM = """
        ORG     0
        LXI     H,8123H
LOOP:   MOV     M,A
        JNZ     LOOP
        HLT
        END
"""


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", PROGRAM, tmp_path)


def test_the_instruction_at_the_pc(slate: Bench) -> None:
    text = slate.do("card")
    assert text.startswith("LXI H,8123H: load a pair\n")
    assert "A8-A15 00, AD0-AD7 01 then 23: address 0001 is PC, data 23 is byte 2" in text
    assert slate.machine.t == 3  # it takes no board time
    assert slate.machine.trace.total == 1  # the reset


def test_registers_are_those_of_the_board(slate: Bench) -> None:
    slate.do("step 3")
    slate.do("put A 4D")
    text = slate.do("card")
    assert text.startswith("MOV M,A: ")
    assert "address 8123 is HL, data 4D is A" in text
    assert slate.machine.registers.pc == 3


def test_within_an_instruction_it_is_the_one_under_way(slate: Bench) -> None:
    slate.do("step 1")
    assert slate.do("card").startswith("LXI H,8123H: ")


def test_any_instruction_symbols_and_interrupts(slate: Bench) -> None:
    assert slate.do("card mvi a,3e").startswith("MVI A,3EH: ")
    assert "address, low byte" in slate.do("card jmp loop")
    assert slate.do("card jmp LOOP # the end of it").startswith("JMP 0003H: ")
    assert "Why 12 T-states" in slate.do("card rst 7.5")
    assert slate.do("card 77").startswith("MOV M,A: ")


def test_a_mistake_is_told_with_the_nearest(slate: Bench) -> None:
    with pytest.raises(UserError, match="did you mean 'MOV M,A'"):
        slate.do("card mvo m,a")


def test_instructions_are_offered(slate: Bench) -> None:
    def offered(line: str) -> set[str]:
        return {one.text for one in suggestions(line, slate.session.forms, slate.session.context)}

    assert {"MOV M,A", "MOV M,B"} <= offered("card mov m")
    assert "HOLD" in offered("card ho")
    assert "MVI A,d8" not in offered("card mov m")
