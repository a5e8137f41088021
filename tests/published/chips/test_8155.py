"""The 8155 and 8156 driven by firmware over the bus.

Source: Intel 8155/8156/8155-2/8156-2 2048-bit static MOS RAM with I/O ports and timer,
data sheet; the section each check rests on is named beside it.  All values from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.errors import UserError

from .bench import Bench

BOARD = """
ports:
  - {device: 8155, name: combo, at: 40-47, memory-at: 9000-90FF}
  - {device: far side, name: side a, at: 30}
  - {device: far side, name: side b, at: 31}
  - {device: far side, name: side c, at: 32}
  - {device: peripheral, name: pulses, at: 33}
wired:
  - {device: oscillator, name: crystal, rate: RATE}
lines:
  combo.pa0-pa7: side a.p0-p7
  combo.pb0-pb7: side b.p0-p7
  combo.pc0-pc5: side c.p0-p5
  side c.p6: combo.timerout
  combo.timerin: TIMERIN
"""

NAMES = """
CS      EQU 40H         ; command and status
PA      EQU 41H
PB      EQU 42H
PC      EQU 43H
TL      EQU 44H
TH      EQU 45H
SIDEA   EQU 30H
SIDEB   EQU 31H
SIDEC   EQU 32H         ; read: PC0-5, bit 6 TIMER OUT, bit 7 always 1
PULSES  EQU 33H
STOP    EQU 40H
AFTERTC EQU 80H
START   EQU 0C0H
SINGLE  EQU 00H         ; timer modes, in bits 7 and 6 of the high byte
SQUARE  EQU 40H
PULSE1  EQU 80H
PULSEN  EQU 0C0H
LENGTH  MACRO COUNT, MODE
        PUT TL, COUNT AND 0FFH
        PUT TH, (COUNT SHR 8) OR MODE
        ENDM
TICK    MACRO                   ; one pulse at TIMER IN; keeps TIMER OUT
        PUT PULSES, 0
        PUT PULSES, 1
        IN SIDEC
        ANI 40H
        MOV M, A
        INX H
        ENDM
PAUSE   MACRO TURNS             ; 14 T-states each
        LOCAL AGAIN
        MVI B, TURNS
AGAIN:  DCR B
        JNZ AGAIN
        ENDM
"""


def board(timer_in: str = "pulses.q0", rate: str = "3 MHz") -> Bench:
    """The chip with its TIMER IN at a wire that firmware moves, or at the crystal."""
    return Bench(BOARD.replace("TIMERIN", timer_in).replace("RATE", rate))


def run(*firmware: str) -> list[int]:
    """The bytes that firmware keeps, on a fresh board."""
    return board().run(NAMES, *firmware)


# --- RAM ---------------------------------------------------------------------------

FILL_AND_COPY = """
        LXI D, 9000H
        MVI C, 0
FILL:   MOV A, C
        XRI 5AH
        STAX D
        INR E
        INR C
        JNZ FILL
COPY:   LDAX D
        MOV M, A
        INX H
        INR E
        JNZ COPY
"""


@pytest.mark.parametrize("part", ["8155", "8156"])
def test_ram_of_256_bytes(part: str) -> None:
    """Features: 256 word x 8 bits.  RESET leaves the memory alone."""
    bench = Bench(f"ports:\n  - {{device: {part}, name: combo, at: 40-47, memory-at: 9000-90FF}}\n")
    filled = [n ^ 0x5A for n in range(256)]
    assert bench.run(FILL_AND_COPY) == filled
    bench.machine.reset()
    assert list(bench.machine.memory[0x9000:0x9100]) == filled


# --- ports -------------------------------------------------------------------------


def test_reset_makes_all_ports_inputs() -> None:
    """Pin description, RESET: initializes the three I/O ports to input mode."""
    kept = run("""
        KEEP CS
        KEEP SIDEA          ; nobody drives: the pull-ups are seen
        KEEP SIDEB
        KEEP SIDEC
        PUT SIDEA, 12H
        PUT SIDEB, 34H
        PUT SIDEC, 16H
        KEEP PA
        KEEP PB
        KEEP PC
    """)
    assert kept == [0x00, 0xFF, 0xFF, 0xFF, 0x12, 0x34, 0x16]


def test_port_c_in_its_four_ways() -> None:
    """Command register, PC2 PC1: 00 ALT 1, 11 ALT 2, 01 ALT 3, 10 ALT 4; port C table."""
    text = "PUT SIDEC, 3FH\n"
    for command in (0x00, 0x0C, 0x04, 0x08):
        text += f"PUT CS, {command}\nPUT PC, 2AH\nKEEP PC\nKEEP SIDEC\n"
    inputs = [0x3F, 0xFF]
    outputs = [0x2A, 0xEA]
    half = [0b101_1_00, 0xC0 | 0b101_1_00]  # PC3-5 outputs; STB high, BF and INTR low
    control = [0b1_00_1_00, 0xC0 | 0b1_00_1_00]
    assert run(text) == inputs + outputs + half + control


def test_output_latches_of_an_input_port() -> None:
    """I/O section: the latch is cleared when the port enters input mode and cannot be
    loaded there, so a change from input to output makes the pins low.
    """
    kept = run("""
        PUT CS, 0FH
        PUT PA, 55H
        PUT PB, 0AAH
        PUT PC, 3CH
        KEEP PA             ; an output port is read back
        KEEP SIDEA
        KEEP SIDEB
        KEEP SIDEC
        PUT CS, 0
        PUT CS, 0FH             ; cleared
        KEEP SIDEA
        KEEP SIDEB
        KEEP SIDEC
        PUT CS, 0
        PUT PA, 77H
        PUT PB, 77H
        PUT PC, 77H
        KEEP SIDEA
        PUT CS, 0FH             ; not loaded
        KEEP SIDEA
        KEEP SIDEB
        KEEP SIDEC
    """)
    assert kept == [0x55, 0x55, 0xAA, 0xFC, 0x00, 0x00, 0xC0, 0xFF, 0x00, 0x00, 0xC0]


# Status register: D0 INTR A, D1 A BF, D2 INTE A, D3 INTR B, D4 B BF, D5 INTE B, D6 timer.


def test_control_signals_when_alt_4_is_programmed() -> None:
    """Initial state of the control signals: BF low; INTR low for input, high for output."""
    kept = run("""
        PUT CS, 38H             ; both inputs, both interrupts enabled
        KEEP CS
        KEEP SIDEC
        PUT CS, 3BH             ; both outputs
        KEEP CS
        KEEP SIDEC
    """)
    assert kept == [0b100_100, 0xC0 | 0b100_100, 0b101_101, 0xC0 | 0b101_101]


def test_strobed_input_at_port_a() -> None:
    """Strobed input mode waveforms: BF with STB low, INTR with STB high, both end with RD."""
    kept = run("""
        PUT CS, 14H             ; ALT 3, INTE A
        KEEP CS                 ; 0
        PUT SIDEA, 5AH
        PUT SIDEC, 3BH          ; STB A low
        KEEP CS                 ; 1
        PUT SIDEC, 3FH          ; STB A high
        PUT SIDEA, 0            ; too late
        KEEP CS                 ; 2
        KEEP SIDEC              ; 3
        KEEP PA                 ; 4
        KEEP CS                 ; 5
        KEEP SIDEC              ; 6
    """)
    assert kept == [0x04, 0x06, 0x07, 0xC7, 0x5A, 0x04, 0xC4]


def test_strobed_output_at_port_b() -> None:
    """Strobed output mode waveforms: WR sets BF and ends INTR; STB low ends BF, high sets INTR."""
    kept = run("""
        PUT CS, 2AH             ; ALT 4, B output, INTE B
        KEEP CS                 ; 0
        PUT PB, 3CH
        KEEP CS                 ; 1
        KEEP SIDEB              ; 2
        PUT SIDEC, 1FH          ; STB B low
        KEEP CS                 ; 3
        PUT SIDEC, 3FH
        KEEP CS                 ; 4
    """)
    assert kept == [0x28, 0x30, 0x3C, 0x20, 0x28]


def test_interrupt_enable_and_commands_in_the_middle() -> None:
    """Command register, IEA and IEB.  A command for the timer leaves a full buffer full
    (every command writes all eight bits, so a START could not be given otherwise).
    """
    kept = run("""
        PUT CS, 04H             ; ALT 3, interrupts off
        PUT SIDEA, 99H
        PUT SIDEC, 3BH
        PUT SIDEC, 3FH
        KEEP CS
        PUT CS, 14H OR START
        KEEP CS
        PUT CS, 04H OR STOP
        KEEP CS
        KEEP PA
    """)
    assert kept == [0x02, 0x07, 0x02, 0x99]


def test_intr_brings_the_cpu_to_its_service_routine() -> None:
    """Port C in ALT 3: PC0 is A INTR."""
    bench = Bench(
        BOARD.replace("TIMERIN", "crystal.out").replace("RATE", "3 MHz") + "  RST 6.5: combo.pc0\n"
    )
    kept = bench.run(
        NAMES,
        """
        JMP BEGIN
        ORG 34H
        KEEP PA
        EI
        RET
BEGIN:  PUT CS, 14H
        MVI A, 08H
        SIM
        EI
        PUT SIDEA, 11H
        PUT SIDEC, 3BH
        PUT SIDEC, 3FH
        NOP
        PUT SIDEA, 22H
        PUT SIDEC, 3BH
        PUT SIDEC, 3FH
        NOP
    """,
    )
    assert kept == [0x11, 0x22]


# --- timer -------------------------------------------------------------------------

WAVES = {
    # Timer out waveforms: (count, mode): first changes of TIMER OUT in TIMER IN clocks
    # after START.  A square wave is low in the second half of the count, and an odd
    # count is longer by one in its high half; a pulse is one clock long and ends the
    # count.  That the first clock after START counts is our choice.
    (8, "SINGLE"): [(4, 0), (8, 1)],
    (9, "SINGLE"): [(5, 0), (9, 1)],
    (8, "SQUARE"): [(4, 0), (8, 1), (12, 0), (16, 1), (20, 0), (24, 1)],
    (9, "SQUARE"): [(5, 0), (9, 1), (14, 0), (18, 1), (23, 0), (27, 1)],
    (2, "SQUARE"): [(1, 0), (2, 1), (3, 0), (4, 1), (5, 0), (6, 1)],
    (9, "PULSE1"): [(8, 0), (9, 1)],
    (9, "PULSEN"): [(8, 0), (9, 1), (17, 0), (18, 1), (26, 0), (27, 1)],
    (300, "SQUARE"): [(150, 0), (300, 1), (450, 0), (600, 1), (750, 0), (900, 1)],
}


@pytest.mark.parametrize(("count", "mode"), WAVES)
def test_timer_waveforms_with_the_cpu_clock_at_timer_in(count: int, mode: str) -> None:
    bench = board("crystal.out")
    bench.run(NAMES, f"LENGTH {count}, {mode}\nPUT CS, START\nPAUSE 100\n")
    (began,) = bench.ends_of(Cycle.IOW, 0x40)
    changes = [(t - began, level) for t, level in bench.changes("side c", "p6")]
    assert changes[0][1] == 1 and changes[0][0] <= 0  # high before it starts
    expected = WAVES[count, mode]
    repeats = mode in ("SQUARE", "PULSEN")
    assert (changes[1 : 1 + len(expected)] if repeats else changes[1:]) == expected


def test_timer_in_slower_than_the_cpu_clock_by_no_whole_number() -> None:
    """Square wave: the period is the count length; edges to the nearest T-state."""
    bench = board("crystal.out", "2 MHz")  # 3/2 T-states a clock
    bench.run(NAMES, "LENGTH 7, SQUARE\nPUT CS, START\nPAUSE 40\n")
    rises = [t for t, level in bench.changes("side c", "p6")[1:] if level]
    falls = [t for t, level in bench.changes("side c", "p6")[1:] if not level]
    assert rises[40] - rises[0] == 40 * 7 * 3 // 2
    highs = [fall - rise for rise, fall in zip(rises, falls[1:], strict=False)]
    assert set(highs) == {6}  # four clocks of seven


def test_the_timer_bit_of_the_status() -> None:
    """Status register, D6: latched at terminal count, reset by reading and by RESET."""
    bench = board("crystal.out")
    kept = bench.run(
        NAMES,
        """
        LENGTH 140, SINGLE
        PUT CS, START
        KEEP CS                 ; at most some tens of clocks yet
        PAUSE 10                ; 140 more
        KEEP CS
        KEEP CS
        PUT CS, START
        PAUSE 11
    """,
    )
    assert kept == [0x00, 0x40, 0x00]
    bench.machine.reset()
    assert bench.run(NAMES, "KEEP CS\n") == [0x00]


H, L = 0x40, 0x00


def test_new_count_waits_for_start_and_start_for_terminal_count() -> None:
    """Timer section: a new count or mode needs a START; while running it is taken
    'immediately after present TC is reached'.
    """
    kept = run(
        "LENGTH 4, SQUARE\nPUT CS, START\n"
        + "TICK\n" * 8
        + "LENGTH 6, SQUARE\n"
        + "TICK\n" * 5
        + "PUT CS, START\n"
        + "TICK\n" * 9
    )
    four, six = [H, L, L, H], [H, H, L, L, L, H]
    assert kept == four * 3 + four + six


def test_stop_and_stop_after_terminal_count() -> None:
    """Command register, TM2 TM1: 00 no effect, 01 stop, 10 stop after TC, 11 start."""
    kept = run(
        "PUT CS, STOP\nPUT CS, AFTERTC\n"  # nothing has started: no effect
        + "LENGTH 4, SQUARE\nPUT CS, START\nPUT CS, 0\n"
        + "TICK\n" * 5
        + "PUT CS, AFTERTC\n"
        + "TICK\n" * 8
        + "PUT CS, START\n"
        + "TICK\n" * 3
        + "PUT CS, STOP\n"
        + "TICK\n" * 3
    )
    assert kept == [H, L, L, H, H] + [L, L, H] + [H] * 5 + [H, L, L] + [L] * 3


def test_a_count_of_one_does_not_operate() -> None:
    """Timer section: an initial value of 1 cannot make it count; the least is 2."""
    kept = run("LENGTH 1, SQUARE\nPUT CS, START\n" + "TICK\n" * 4 + "KEEP CS\n")
    assert kept == [H, H, H, H, 0x00]


REMAINING = """
LEFT:   PUT CS, STOP            ; 1. stop the count
        IN TH                   ; 2. read in the 16-bit value
        ANI 3FH                 ; 3. reset the upper two mode bits
        MOV D, A
        IN TL
        MOV E, A
        MOV A, D
        ORA A                   ; 4. reset the carry, rotate all 16 right through it
        RAR
        MOV D, A
        MOV A, E
        RAR
        JNC KEPT
        ADD C                   ; 5. if carry is set, add half of the full count,
KEPT:   MOV M, A                ;    for an odd count half of one less
        INX H
        RET
"""


@pytest.mark.parametrize(("length", "first"), [(8, 0), (2, 0), (9, 3), (21, 3)])
def test_the_remaining_count_by_the_data_sheet_s_steps(length: int, first: int) -> None:
    """Timer section: the steps to obtain the remaining count; an odd count cannot be
    told before its third pulse.
    """
    text = "JMP BEGIN\n" + REMAINING + f"BEGIN: MVI C, {length // 2}\n"
    ticks = "PUT PULSES, 0\nPUT PULSES, 1\n"
    done = range(first, length)
    for pulses in done:
        text += f"LENGTH {length}, SQUARE\nPUT CS, START\n" + ticks * pulses + "CALL LEFT\n"
    assert run(text) == [length - pulses for pulses in done]


def test_the_mode_is_read_with_the_count() -> None:
    """I/O address 101: the high six bits of the count and two bits of mode, as loaded."""
    kept = run("""
        LENGTH 3FFEH, PULSEN
        PUT CS, START
        KEEP TH
        LENGTH 4, SINGLE
        KEEP TH                 ; not taken yet
    """)
    assert kept == [0xFF, 0xFF]


def test_reset_stops_the_count() -> None:
    """Timer section: RESET stops the counting; it begins again with a START."""
    bench = board()
    program = NAMES + "TICK\nTICK\nTICK\nTICK\n"
    assert bench.run(NAMES, "LENGTH 4, SQUARE\nPUT CS, START\nTICK\n") == [H]
    bench.machine.reset()
    assert bench.run(program) == [H, H, H, H]
    bench.machine.reset()
    assert bench.run(NAMES, "LENGTH 4, SQUARE\nPUT CS, START\nTICK\nTICK\n") == [H, L]


def chained() -> Bench:
    """The chip with its TIMER IN at the TIMER OUT of another, at ports 50-57."""
    text = BOARD.replace("TIMERIN", "first.timerout").replace("RATE", "3 MHz")
    first = "  - {device: 8155, name: first, at: 50-57, memory-at: A000-A0FF}\nwired:"
    return Bench(text.replace("wired:", first) + "  first.timerin: crystal.out\n")


def test_a_timer_clocks_another() -> None:
    """Timer section: TIMER OUT as a square wave; a second chip counts its rising edges."""
    bench = chained()
    sequence = """
        LENGTH 4, SQUARE
        PUT CS, START
        PUT 54H, 50
        PUT 55H, SQUARE
        PUT 50H, START
        PAUSE 60
    """
    bench.run(NAMES, sequence)
    (began,) = bench.ends_of(Cycle.IOW, 0x50)
    changes = [(t - began, level) for t, level in bench.changes("side c", "p6")[1:5]]
    assert changes == [(100, 0), (200, 1), (300, 0), (400, 1)]


def test_a_timer_clocks_another_through_a_change_of_length() -> None:
    """The same, the first timer given a new length in the middle of its first count."""
    bench = chained()
    sequence = """
        LENGTH 4, SQUARE
        PUT CS, START
        PUT 54H, 200
        PUT 55H, SQUARE
        PUT 50H, START
        PUT 54H, 44             ; 300
        PUT 55H, SQUARE OR 1
        PUT 50H, START
        PAUSE 90
    """
    bench.run(NAMES, sequence)
    began, _ = bench.ends_of(Cycle.IOW, 0x50)
    # It rises at 200, 500, 800 and 1100; the second of them ends the first half.
    changes = [(t - began, level) for t, level in bench.changes("side c", "p6")[1:3]]
    assert changes == [(500, 0), (1100, 1)]


def test_ticks_of_the_timer_interrupt() -> None:
    """Timer section, mode 3: a pulse at every terminal count, automatically reloaded."""
    text = BOARD.replace("TIMERIN", "crystal.out").replace("RATE", "3 MHz")
    bench = Bench(text + "  RST 7.5: combo.timerout\n")
    bench.run(
        NAMES,
        """
        JMP BEGIN
        ORG 3CH
        INR C
        EI
        RET
BEGIN:  LENGTH 1000, PULSEN
        PUT CS, START
        MVI C, 0
        MVI A, 1BH              ; RST 7.5 alone, its latch cleared
        SIM
        EI
WAIT:   MOV A, C
        CPI 5
        JNZ WAIT
    """,
    )
    (began,) = bench.ends_of(Cycle.IOW, 0x40)
    rises = [t - began for t, level in bench.changes("side c", "p6")[1:] if level]
    assert rises == [1000, 2000, 3000, 4000, 5000]


def test_a_timer_that_nobody_sees_schedules_nothing() -> None:
    """Our own bar: an idle chip costs nothing; its count is worked out when it is read."""
    text = BOARD.replace("TIMERIN", "crystal.out").replace("RATE", "3 MHz")
    bench = Bench(text.replace("  side c.p6: combo.timerout\n", ""))
    kept = bench.run(NAMES, "LENGTH 100, SQUARE\nPUT CS, START\nPAUSE 20\nKEEP CS\n")
    assert kept == [0x40]
    assert bench.machine.schedule.next_t == NEVER


# --- board files -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ((", memory-at: 9000-90FF", ""), ["'memory-at'", "bench.yaml:9:"]),
        (
            ("side c.p6: combo.timerout", "side c.p6: combo.timerin"),
            ["'timerin'", "bench.yaml:20:"],
        ),
        (("combo.pc0-pc5: side c.p0-p5", "combo.pc6: side c.p0"), ["'pc6'", "bench.yaml:19:"]),
        (("at: 40-47,", "at: 40-47, timer: 5,"), ["'timer'", "bench.yaml:9:"]),
    ],
)
def test_mistakes_in_the_board_file(change: tuple[str, str], told: Sequence[str]) -> None:
    with pytest.raises(UserError) as caught:
        Bench(BOARD.replace("TIMERIN", "pulses.q0").replace("RATE", "1 MHz").replace(*change))
    assert all(part in str(caught.value) for part in told), str(caught.value)
