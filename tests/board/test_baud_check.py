"""Senders in software, with loops of known length, against the measured bit time.

T-states of the sender's loop are the manual's instruction timings (Intel MCS-80/85
Family User's Manual, October 1979, values from memory): SIM 4, MVI 7, DCR 4, JNZ 10
taken and 7 not taken, NOP 4, MOV 4, STC 4, RAR 4, ANI and ORI 7.  The tolerance is
common practice, no published source.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from emu85.board.baud_check import BaudCheck
from emu85.board.description import SerialFormat
from emu85.firmware import assemble
from emu85.machine import Machine

NOMINAL = 2560  # T-states a bit: 3.072 MHz / 1200 baud
BOARD = """
name: sender
crystal: 6.144 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
serial: {baud: 1200, format: 8N1, polarity: POLARITY}
"""

# C goes out, lowest bit first; all ten bits pass through one loop.
SENDER = """
        LXI  SP,8400H
        MVI  A,MARK
        SIM
        CALL REST
        LXI  H,TEXT
NEXT:   MOV  A,M
        ORA  A
        JZ   DONE
        MOV  C,A
        CALL SEND
        INX  H
        JMP  NEXT
DONE:   HLT

SEND:   MVI  D,10
        MVI  A,MARK XOR 80H
BIT:    SIM
        MVI  B,LOOPS
WAIT:   DCR  B
        JNZ  WAIT
NOPS
        MOV  A,C
        STC                 ; what follows the data is the stop bit
        RAR
        MOV  C,A
        RAR                 ; the bit to bit 7
        ANI  80H
        XRI  MARK XOR 80H
        DCR  D
        JNZ  BIT
        MVI  A,MARK
        SIM
REST:   MVI  B,0
R1:     DCR  B
        JNZ  R1
        RET
TEXT:   DB   'The tide is at 4.21 m', 0
"""


def bit_length(loops: int, nops: int) -> int:
    return 4 + 7 + 14 * loops - 3 + 4 * nops + 4 + 4 + 4 + 4 + 4 + 7 + 7 + 4 + 10


def sent(loops: int, nops: int, polarity: str = "normal") -> Machine:
    machine = Machine.from_text(BOARD.replace("POLARITY", polarity))
    mark = "0C0H" if polarity == "normal" else "040H"
    text = SENDER.replace("MARK", mark).replace("NOPS", "        NOP\n" * nops)
    machine.load(assemble(text.replace("LOOPS", str(loops)), "sender.asm").image)
    machine.run(seconds=1.0)
    assert machine.registers.halted
    return machine


def test_a_true_sender_is_not_told_of() -> None:
    assert bit_length(178, 3) == NOMINAL
    machine = sent(178, 3)
    assert machine.serial is not None
    assert machine.serial.received == b"The tide is at 4.21 m"
    assert machine.serial.baud_check.bit_time == NOMINAL
    assert machine.serial.baud_check.notice is None


@pytest.mark.parametrize("polarity", ["normal", "inverted"])
@pytest.mark.parametrize(
    ("loops", "nops", "is_told"),
    [
        (183, 4, False),  # 2634: 2.9 % too long
        (184, 2, True),  # 2640: 3.1 % too long
        (187, 2, True),  # 2682: 4.8 % too long, and yet received
        (172, 7, False),  # 2492: 2.7 % too short
        (172, 4, True),  # 2480: 3.1 % too short
        (169, 4, True),  # 4.8 % too short
        (196, 3, True),  # 9.8 % too long: garbage at the terminal, measured all the same
        (160, 3, True),  # 9.8 % too short
    ],
)
def test_a_detuned_loop_is_told_of_beyond_three_per_cent(
    loops: int, nops: int, is_told: bool, polarity: str
) -> None:
    length = bit_length(loops, nops)
    assert (abs(length - NOMINAL) > 0.03 * NOMINAL) == is_told
    machine = sent(loops, nops, polarity)
    assert machine.serial is not None
    check = machine.serial.baud_check
    assert check.bit_time == length
    notice = check.notice
    assert (notice is not None) == is_told
    if notice is not None:
        assert notice.error == Fraction(length - NOMINAL, NOMINAL)
        assert notice.baud == Fraction(3_072_000, length)
        way = "long" if length > NOMINAL else "short"
        assert f"{abs(length / NOMINAL - 1):.1%} too {way}" in str(notice)


def test_five_per_cent_is_about_what_the_terminal_stands() -> None:
    """Half a bit at the stop bit's middle: 4.8 % passes, 5.9 % does not."""
    good, bad = sent(187, 2), sent(189, 2)
    assert good.serial is not None and bad.serial is not None
    assert good.serial.received == b"The tide is at 4.21 m"
    assert bad.serial.framing_errors + bad.serial.parity_errors > 0


def test_power_forgets() -> None:
    machine = sent(187, 2)
    assert machine.serial is not None and machine.serial.baud_check.notice
    machine.power()
    assert machine.serial.baud_check.notice is None
    assert machine.serial.baud_check.bit_time is None


def test_edges_on_no_grid_are_not_measured() -> None:
    check = BaudCheck(SerialFormat(Fraction(1200), 8, "N", Fraction(1), False, Fraction(0)), B)
    for t, mark in ((0, 0), (100, 1), (150, 0), (310, 1), (5000, 0)):
        check.edge(t, mark)
    assert check.bit_time is None


def test_a_few_bits_are_not_enough_to_speak_of() -> None:
    check = BaudCheck(SerialFormat(Fraction(1200), 8, "N", Fraction(1), False, Fraction(0)), B)
    for t, mark in ((0, 0), (106, 1), (5000, 0), (5106, 1), (10000, 0)):
        check.edge(t, mark)
    assert check.bit_time == 106
    assert check.notice is None


B = Fraction(100)
