"""Timing cards as text."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from emu85.bus.cycles import Cycle
from emu85.timing.ac_table import part_named
from emu85.timing.bench import Bench, Situation
from emu85.timing.card_text import WIDTH, write_card
from emu85.timing.cards import Setting, make_card
from emu85.timing.subjects import EVENTS, instruction_subject, subject_named
from tests.published.opcodes import OPCODES

SLOW = Setting(Situation(waits={Cycle.OF: 1, Cycle.MW: 2}))


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench()


@pytest.mark.parametrize("setting", [Setting(), SLOW], ids=["no waits", "waits"])
def test_every_card_fits_the_screen(bench: Bench, setting: Setting) -> None:
    for subject in (*map(instruction_subject, range(256)), *EVENTS):
        text = write_card(make_card(subject, setting, bench))
        assert text.endswith("\n")
        assert text.isascii()
        for line in text.splitlines():
            assert len(line) <= WIDTH == 80, line
            assert line == line.rstrip()


def test_the_sum_is_on_every_card(bench: Bench) -> None:
    """The published T-states, and each way's, stand where the machine cycles are added up."""
    for code, one in OPCODES.items():
        text = write_card(make_card(instruction_subject(code), Setting(), bench))
        assert f"Why {one.t} T-states" in text
        if one.conditional:
            assert f"Why {one.t} T-states, taken" in text
            assert f"Why {one.t_not} T-states, not taken" in text


def test_mov_m_a(bench: Bench) -> None:
    text = write_card(make_card(subject_named("mov m,a"), Setting(), bench))
    assert text.startswith(
        """\
MOV M,A: move a byte
opcode 77, 1 byte, flags changed: none

Why 7 T-states
     4  M1 OF    fetch the opcode and decode it
  +  3  M2 MW    write A to memory at HL
  =  7

M1  OF    opcode fetch           IO/M 0  S1 1  S0 1  RD low
    A8-A15 01, AD0-AD7 50 then 77: address 0150 is PC, data 77 is the opcode
"""
    )
    assert "    A8-A15 80, AD0-AD7 40 then 3E: address 8040 is HL, data 3E is A\n" in text


def test_reset_has_its_name_in_full(bench: Bench) -> None:
    text = write_card(make_card(subject_named("RESET"), Setting(), bench))
    assert "    TRESET x3 RESET OUT is high; " in text
    heads = [line for line in text.splitlines() if "T4    TRESET" in line]
    assert heads and heads[0].split()[-3:] == ["TRESET"] * 3
    # Eight columns for each TRESET, six for the T-states of the fetch before.
    drawn = next(line for line in text.splitlines() if line.startswith("RESET OUT"))
    assert drawn == "RESET OUT " + "_" * 24 + "/" + "-" * 23


def test_the_halt_is_ended_by_a_restart_that_is_named(bench: Bench) -> None:
    text = write_card(make_card(subject_named("HALT"), Setting(), bench))
    assert "|BI 0151 RST 7.5 " in text and "BI 0151 HALT" not in text


def test_the_waveform_is_under_it(bench: Bench) -> None:
    """By hand, after the data sheet's figures of a fetch and of a write."""
    text = write_card(make_card(subject_named("mov m,a"), Setting(), bench))
    for line in (
        "          |OF 0150 77 MOV M,A     |MW 8040 3E",
        "          T1    T2    T3    T4    T1    T2    T3",
        r"ALE       ---\____________________/--\______________",
        "AD0-AD7   X50===......X77.........X40===X3E=========",
        r"RD        ------\________/--------------------------",
        r"WR        ------------------------------\________/--",
    ):
        assert re.sub("^T [0-9]+ *", "          ", line, flags=re.M) in re.sub(
            "^T [0-9]+ *", "          ", text, flags=re.M
        )


def test_every_t_state_is_drawn_on_every_card(bench: Bench) -> None:
    for code, one in OPCODES.items():
        text = write_card(make_card(instruction_subject(code), Setting(), bench))
        drawings = text.split("\nWaveform")[1:]
        expected = [one.t, one.t_not][: 1 + one.conditional]
        assert len(drawings) == len(expected)
        for drawing, t in zip(drawings, expected, strict=True):
            heads = re.findall(r"^ {10}((?:T\w+ *)+)$", drawing, re.M)
            assert sum(len(head.split()) for head in heads) == t, str(one)


def test_times_at_a_crystal(bench: Bench) -> None:
    """4 MHz: CLK 2 MHz, a T-state 500 ns, so 18 and 9 of them take 9 and 4.5 us."""
    setting = Setting(crystal=Fraction(4_000_000))
    text = write_card(make_card(subject_named("cz"), setting, bench))
    assert "Time at 4 MHz, a T-state being 500 ns" in text
    assert "18/9  9 us / 4.5 us" in text


def test_wait_states_are_seen_in_their_cycle_and_in_the_sum(bench: Bench) -> None:
    text = write_card(make_card(subject_named("mov m,a"), SLOW, bench))
    assert "TW x1" in text
    assert "TW x2" in text
    assert "and 3 of wait states: 10" in text
    assert "wait states as asked for" in text


def test_the_part_tells_when_it_is_too_slow(bench: Bench) -> None:
    """8085AH: T-state of 320 ns at least; data sheet (value from memory)."""
    fast = Setting(crystal=Fraction(10_000_000))
    subject = subject_named("nop")
    text = write_card(make_card(subject, fast, bench))
    assert "The 8085AH is made for a T-state of 320 to 2000 ns, not of 200 ns." in text
    assert "tAD" not in text
    quick = Setting(crystal=Fraction(10_000_000), part=part_named("8085AH-2"))
    assert "is made for" not in write_card(make_card(subject, quick, bench))


def test_a_part_is_made_for_the_crystal_that_it_is_sold_for(bench: Bench) -> None:
    """8085AH-1: 12 MHz, though 2 / 12 MHz is less than the 167 ns printed (value from memory)."""
    subject, part = subject_named("NOP"), part_named("8085AH-1")
    fastest = Setting(crystal=Fraction(12_000_000), part=part)
    assert "is made for" not in write_card(make_card(subject, fastest, bench))
    beyond = Setting(crystal=Fraction(12_000_001), part=part)
    assert "is made for" in write_card(make_card(subject, beyond, bench))


def test_what_was_chosen_and_what_intel_left_out_is_told(bench: Bench) -> None:
    text = write_card(make_card(subject_named("arhl"), Setting(), bench))
    assert "Not in Intel's manuals." in text
    assert "Choice: the three T-states after the fetch" in text
    assert "Dehnhardt & Sorensen" in text
    assert "Overlap:" in write_card(make_card(subject_named("add b"), Setting(), bench))
    assert "Overlap:" not in text
