"""The 8255A driven by firmware over the bus.

Source: Intel 8255A/8255A-5 Programmable Peripheral Interface data sheet; the section
each check rests on is named beside it.  All values from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from emu85.bus.cycles import Cycle
from emu85.errors import UserError

from .bench import Bench

BOARD = """
ports:
  - {device: 8255A, name: ppi, at: 20-23}
  - {device: far side, name: side a, at: 30}
  - {device: far side, name: side b, at: 31}
  - {device: far side, name: side c, at: 32}
lines:
  ppi.pa0-pa7: side a.p0-p7
  ppi.pb0-pb7: side b.p0-p7
  ppi.pc0-pc7: side c.p0-p7
"""

NAMES = """
PA      EQU 20H
PB      EQU 21H
PC      EQU 22H
CTRL    EQU 23H
SIDEA   EQU 30H
SIDEB   EQU 31H
SIDEC   EQU 32H
"""


def run(*firmware: str, lines: str = "") -> list[int]:
    """The bytes that firmware keeps, on a fresh board."""
    return Bench(BOARD + lines).run(NAMES, *firmware)


def test_reset_makes_all_ports_inputs() -> None:
    """Basic functional description, reset: 'all ports set to the input mode'."""
    kept = run("""
        KEEP SIDEA          ; nobody drives: the pull-ups are seen
        KEEP SIDEB
        KEEP SIDEC
        PUT SIDEA, 12H
        PUT SIDEB, 34H
        PUT SIDEC, 56H
        KEEP PA
        KEEP PB
        KEEP PC
    """)
    assert kept == [0xFF, 0xFF, 0xFF, 0x12, 0x34, 0x56]


def ports_in_mode_0(word: int) -> tuple[int, int, int]:
    """Which bits are outputs, by the data sheet's table of the mode 0 port definition."""
    a, c_upper, b, c_lower = (not word & mask for mask in (0x10, 0x08, 0x02, 0x01))
    return 0xFF * a, 0xFF * b, 0xF0 * c_upper | 0x0F * c_lower


MODE_0_WORDS = [0x80 | a << 4 | cu << 3 | b << 1 | cl for a in (0, 1) for cu in (0, 1)
                for b in (0, 1) for cl in (0, 1)]  # fmt: skip


def test_all_sixteen_control_words_of_mode_0() -> None:
    """Mode 0 port definition: D4 port A, D3 upper C, D1 port B, D0 lower C; 1 is input."""
    outside, written = (0x2D, 0x4B, 0x87), (0xC3, 0xA5, 0x96)
    one = "".join(f"PUT {port}, {value}\n" for port, value in zip(("SIDEA", "SIDEB", "SIDEC"),
                  outside, strict=True))  # fmt: skip
    for word in MODE_0_WORDS:
        one += f"PUT CTRL, {word}\nPUT PA, {written[0]}\nPUT PB, {written[1]}\n"
        one += f"PUT PC, {written[2]}\nCALL LOOK\n"
    look = "JMP DONE\nLOOK:\n" + "".join(
        f"KEEP {port}\n" for port in ("PA", "PB", "PC", "SIDEA", "SIDEB", "SIDEC")
    )
    kept = run(one + look + "RET\n")
    expected: list[int] = []
    for word in MODE_0_WORDS:
        outs = ports_in_mode_0(word)
        triples = list(zip(written, outside, outs, strict=True))
        expected += [w & out | o & ~out for w, o, out in triples]
        expected += [w & out | 0xFF & ~out for w, _, out in triples]
    assert kept == expected


def test_a_mode_set_clears_the_output_latches() -> None:
    """Mode selection: all output registers are reset when the mode is changed."""
    kept = run("""
        PUT CTRL, 80H
        PUT PA, 0FFH
        PUT PB, 0FFH
        PUT PC, 0FFH
        PUT CTRL, 80H
        KEEP SIDEA
        KEEP SIDEB
        KEEP SIDEC
    """)
    assert kept == [0, 0, 0]


def test_bit_set_and_reset_in_mode_0() -> None:
    """Single bit set/reset: D3-D1 the bit, D0 its value, D7 0, D6-D4 don't care."""
    order = [5, 0, 7, 2, 6, 1, 4, 3]
    text, expected, port = "PUT CTRL, 80H\n", [], 0
    for value in (1, 0):
        for bit in order:
            text += f"PUT CTRL, {bit << 1 | value | 0x70 * (bit & 1)}\nKEEP SIDEC\n"
            port = port | 1 << bit if value else port & ~(1 << bit)
            expected.append(port)
    assert run(text) == expected


def test_bit_set_does_not_touch_an_input() -> None:
    """Mode 0: bits of port C that are inputs have no output buffer to set."""
    kept = run("""
        PUT CTRL, 88H           ; upper C input, the rest outputs
        PUT SIDEC, 0FH
        PUT CTRL, 0FH           ; set PC7
        PUT CTRL, 01H           ; set PC0
        KEEP PC
        KEEP SIDEC
    """)
    assert kept == [0x01, 0xF1]


def test_the_control_word_of_an_8255a_cannot_be_read() -> None:
    """Basic operation table: A1 A0 = 11 with RD low is an illegal condition.

    That the bus then floats is our choice; that an 82C55A gives the mode word, with
    D7 always 1, is in its own data sheet, control word read.
    """
    assert run("PUT CTRL, 92H\nKEEP CTRL\n") == [0xFF]
    chmos = Bench(BOARD.replace("8255A", "82C55A"))
    assert chmos.run(NAMES, "KEEP CTRL\nPUT CTRL, 92H\nPUT CTRL, 07H\nKEEP CTRL\n") == [0x9B, 0x92]


# --- mode 1, input -----------------------------------------------------------------
# Port C of a mode 1 input, as read (status word format, input configuration):
#   D7 D6 I/O   D5 IBF A   D4 INTE A   D3 INTR A   D2 INTE B   D1 IBF B   D0 INTR B

STROBED_INPUT = """
        PUT CTRL, 0BFH          ; A mode 1 input, PC6-7 inputs, B mode 1 input
        PUT SIDEC, 3FH          ; PC7, PC6 low from outside; both STB high
"""


def test_mode_1_input_group_a() -> None:
    """Mode 1 strobed input: STB PC4, IBF PC5, INTR PC3, INTE A by set/reset of PC4."""
    kept = run(
        STROBED_INPUT,
        """
        KEEP PC                 ; 0 nothing received
        PUT CTRL, 09H           ; INTE A
        KEEP PC                 ; 1
        PUT SIDEA, 5AH
        PUT SIDEC, 2FH          ; STB A low
        KEEP PC                 ; 2 IBF, no INTR while STB is low
        PUT SIDEC, 3FH          ; STB A high: data are latched
        PUT SIDEA, 0C6H         ; too late
        KEEP PC                 ; 3 INTR
        KEEP SIDEC              ; 4 and on the pins: PC5 and PC3 high, PC1 and PC0 low
        KEEP PA                 ; 5
        KEEP PC                 ; 6 both dropped by the read
        KEEP SIDEC              ; 7
    """,
    )
    status = [0x00, 0x10, 0x30, 0x38]
    # On the wires PC2, 4, 6 and 7 are released by the chip and pulled up.
    assert kept == [*status, 0xFC, 0x5A, 0x10, 0xD4]


def test_mode_1_input_group_b() -> None:
    """Mode 1 strobed input: STB PC2, IBF PC1, INTR PC0, INTE B by set/reset of PC2."""
    kept = run(
        STROBED_INPUT,
        """
        PUT SIDEC, 0FFH
        KEEP PC                 ; PC7 and PC6 are inputs for any use
        PUT CTRL, 05H           ; INTE B
        PUT SIDEB, 77H
        PUT SIDEC, 0FBH         ; STB B low
        KEEP PC
        PUT SIDEC, 0FFH
        KEEP PC
        PUT SIDEB, 0
        KEEP PB
        KEEP PC
        PUT CTRL, 04H           ; INTE B off
        KEEP PC
    """,
    )
    assert kept == [0xC0, 0xC6, 0xC7, 0x77, 0xC4, 0xC0]


def test_mode_1_input_without_interrupt_enable() -> None:
    """INTR is set when STB is one, IBF is one and INTE is one; without INTE, never."""
    kept = run(
        STROBED_INPUT,
        """
        PUT SIDEC, 2FH
        PUT SIDEC, 3FH
        KEEP PC
        PUT CTRL, 09H           ; enabling it now raises it
        KEEP PC
        PUT CTRL, 08H
        KEEP PC
    """,
    )
    assert kept == [0x20, 0x38, 0x20]


def test_mode_1_input_leaves_two_bits_of_c_for_any_use() -> None:
    """Combinations of mode 1: PC6, PC7 with D3; as outputs, by bit set/reset only."""
    kept = run("""
        PUT CTRL, 0B0H          ; A mode 1 input, PC6-7 outputs; B mode 0, out; C lower out
        PUT PC, 0FFH            ; PC0-2 are mode 0 outputs, PC6-7 are not written
        KEEP PC
        PUT CTRL, 0DH           ; set PC6
        KEEP PC
        PUT CTRL, 0FH           ; set PC7
        PUT CTRL, 0CH
        PUT CTRL, 02H           ; reset PC1
        KEEP PC
        PUT CTRL, 07H           ; PC3 is INTR: no latch of its own
        KEEP PC
    """)
    assert kept == [0x07, 0x47, 0x85, 0x85]


# --- mode 1, output ----------------------------------------------------------------
# Status word format, output configuration:
#   D7 OBF A   D6 INTE A   D5 D4 I/O   D3 INTR A   D2 INTE B   D1 OBF B   D0 INTR B

STROBED_OUTPUT = """
        PUT CTRL, 0A4H          ; A mode 1 output, PC4-5 outputs, B mode 1 output
"""


def test_mode_1_output_group_a() -> None:
    """Mode 1 strobed output: OBF PC7 (low: full), ACK PC6, INTR PC3, INTE A by PC6."""
    kept = run(
        STROBED_OUTPUT,
        """
        KEEP PC                 ; 0 buffers empty
        PUT CTRL, 0DH           ; INTE A
        KEEP PC                 ; 1 OBF and ACK are one: INTR
        PUT PA, 0E1H
        KEEP PC                 ; 2 OBF low, INTR reset by the write
        KEEP SIDEA              ; 3
        PUT SIDEC, 0BFH         ; ACK A low
        KEEP PC                 ; 4 OBF high, INTR waits for ACK
        PUT SIDEC, 0FFH         ; ACK A high
        KEEP PC                 ; 5 INTR
        KEEP SIDEC              ; 6 pins: PC6 and PC2 are released
        KEEP PA                 ; 7 the output register, still there
    """,
    )
    assert kept == [0x82, 0xCA, 0x42, 0xE1, 0xC2, 0xCA, 0xCE, 0xE1]


def test_mode_1_output_group_b() -> None:
    """Mode 1 strobed output: OBF PC1, ACK PC2, INTR PC0, INTE B by set/reset of PC2."""
    kept = run(
        STROBED_OUTPUT,
        """
        PUT CTRL, 05H
        KEEP PC
        PUT PB, 3CH
        KEEP PC
        KEEP SIDEB
        PUT SIDEC, 0FBH
        KEEP PC
        PUT SIDEC, 0FFH
        KEEP PC
    """,
    )
    assert kept == [0x87, 0x84, 0x3C, 0x86, 0x87]


def test_mode_1_output_bits_of_c_for_any_use() -> None:
    """Write Port C reaches mode 0 outputs only; set/reset reaches PC4 and PC5 too.

    It reaches OBF as well (82C55A data sheet, special mode combinations), but not ACK,
    in whose place it changes INTE.
    """
    kept = run(
        STROBED_OUTPUT,
        """
        PUT PC, 0FFH
        KEEP PC
        PUT CTRL, 09H           ; PC4
        PUT CTRL, 0BH           ; PC5
        PUT CTRL, 08H
        KEEP PC
        PUT CTRL, 0EH           ; OBF A low
        KEEP PC
    """,
    )
    assert kept == [0x82, 0xA2, 0x22]


def test_mode_1_groups_in_opposite_directions() -> None:
    """Combinations of mode 1: port A strobed input, port B strobed output."""
    kept = run("""
        PUT CTRL, 0BCH          ; A mode 1 input, B mode 1 output, PC6-7 inputs
        PUT SIDEC, 3FH
        PUT CTRL, 09H
        PUT CTRL, 05H
        KEEP PC                 ; INTE A; INTE B, OBF B, INTR B
        PUT SIDEA, 99H
        PUT SIDEC, 2FH
        PUT SIDEC, 3FH
        PUT PB, 66H
        KEEP PC
        KEEP PA
        KEEP SIDEB
        PUT SIDEC, 3BH
        PUT SIDEC, 3FH
        KEEP PC
    """)
    assert kept == [0x17, 0x3C, 0x99, 0x66, 0x17]


# --- mode 2 ------------------------------------------------------------------------
# Status word format, mode 2:
#   D7 OBF A   D6 INTE 1   D5 IBF A   D4 INTE 2   D3 INTR A   D2-D0 group B


def test_mode_2_output_is_driven_while_ack_is_low() -> None:
    """Mode 2: 'ACK: a low enables the three-state output buffer of port A'; INTE 1 by PC6."""
    kept = run("""
        PUT CTRL, 0C3H          ; A mode 2, B mode 0 input, PC0-2 inputs
        PUT SIDEC, 0F8H
        KEEP PC                 ; 0
        PUT CTRL, 0DH           ; INTE 1
        KEEP PC                 ; 1 INTR: OBF and ACK are one
        PUT PA, 5CH
        KEEP PC                 ; 2 OBF low
        KEEP SIDEA              ; 3 released
        PUT SIDEC, 0B8H         ; ACK low
        KEEP SIDEA              ; 4 driven
        KEEP PC                 ; 5 OBF high, no INTR yet
        PUT SIDEC, 0F8H
        KEEP SIDEA              ; 6 released
        KEEP PC                 ; 7 INTR
    """)
    assert kept == [0x80, 0xC8, 0x40, 0xFF, 0x5C, 0xC0, 0xFF, 0xC8]


def test_mode_2_input_while_output_waits() -> None:
    """Mode 2: both directions are latched, each with its flag and its INTE (2 by PC4)."""
    kept = run("""
        PUT CTRL, 0C0H          ; A mode 2, B mode 0 output, PC0-2 outputs
        PUT PC, 05H
        PUT CTRL, 09H           ; INTE 2
        PUT PA, 0A7H            ; waits to be fetched
        PUT SIDEA, 31H
        PUT SIDEC, 0EFH         ; STB low
        KEEP PC                 ; 0
        PUT SIDEC, 0FFH
        PUT SIDEA, 0
        KEEP PC                 ; 1 IBF, INTR; OBF still low
        KEEP PA                 ; 2 what came in, not what waits
        KEEP PC                 ; 3
        PUT SIDEC, 0BFH
        KEEP SIDEA              ; 4
    """)
    assert kept == [0x35, 0x3D, 0x31, 0x15, 0xA7]


@pytest.mark.parametrize(
    ("word", "enabled", "status"),
    [
        (0xC6, "PUT CTRL, 05H", 0x84),  # B mode 1 input: INTE B, IBF and INTR low
        (0xC4, "PUT CTRL, 05H", 0x87),  # B mode 1 output: INTE B, OBF high, INTR
    ],
)
def test_mode_2_with_group_b_in_mode_1(word: int, enabled: str, status: int) -> None:
    """Mode 2 combinations: PC0-PC2 are group B's lines."""
    assert run(f"PUT CTRL, {word}\n{enabled}\nKEEP PC\n") == [status]


def test_a_mode_set_resets_flags_and_enables() -> None:
    """Mode definition: status flip-flops and all mask flip-flops are reset."""
    kept = run(
        STROBED_INPUT,
        """
        PUT CTRL, 09H
        PUT CTRL, 05H
        PUT SIDEC, 2BH
        PUT SIDEC, 3FH
        KEEP PC
        PUT CTRL, 0BFH
        KEEP PC
    """,
    )
    assert kept == [0x3F, 0x00]


# --- on the wires ------------------------------------------------------------------

INTERRUPTS = """
  RST 6.5: ppi.pc3
  RST 5.5: ppi.pc0
"""


def test_intr_brings_the_cpu_to_its_service_routine() -> None:
    """Mode 1: INTR 'can be used to interrupt the CPU when an input device is requesting'."""
    kept = run(
        """
        JMP START
        ORG 2CH
        PUT PB, 42H             ; RST 5.5: group B can take a byte
        JMP FREE
        ORG 34H
        KEEP PA                 ; RST 6.5: a byte came
        EI
        RET
        ORG 80H
FREE:   PUT CTRL, 04H           ; but nothing more is to be sent
        RET
START:  PUT CTRL, 0B4H          ; A mode 1 input, B mode 1 output
        PUT CTRL, 09H
        MVI A, 08H
        SIM
        EI
        PUT SIDEA, 11H
        PUT SIDEC, 0EFH
        PUT SIDEC, 0FFH
        NOP
        PUT SIDEA, 22H
        PUT SIDEC, 0EFH
        PUT SIDEC, 0FFH
        NOP
        PUT CTRL, 05H
        NOP
        KEEP SIDEB
        KEEP PC
    """,
        lines=INTERRUPTS,
    )
    assert kept == [0x11, 0x22, 0x42, 0x10]


def test_waveform_of_a_strobed_output() -> None:
    """Mode 1 waveforms: OBF falls with WR's rising edge, rises with ACK's falling edge;
    INTR falls with WR and rises with ACK's rising edge.  Delays are left out (module).
    """
    bench = Bench(BOARD)
    sequence = """
        PUT CTRL, 0DH
        PUT PA, 0E1H
        PUT SIDEC, 0BFH
        PUT SIDEC, 0FFH
    """
    bench.run(NAMES, STROBED_OUTPUT, sequence)
    (written,) = bench.ends_of(Cycle.IOW, 0x20)
    ack_low, ack_high = bench.ends_of(Cycle.IOW, 0x32)
    assert bench.changes("side c", "p7")[-2:] == [(written, 0), (ack_low, 1)]
    assert bench.changes("side c", "p3")[-2:] == [(written, 0), (ack_high, 1)]


def test_reset_out_returns_to_inputs() -> None:
    """Reset: a high on RESET clears the control register; all ports float."""
    bench = Bench(BOARD)
    bench.run(NAMES, "PUT CTRL, 80H\nPUT PA, 0\nPUT PC, 0\n")
    bench.machine.reset()
    assert bench.run(NAMES, "KEEP SIDEA\nKEEP SIDEC\n") == [0xFF, 0xFF]


# --- board files -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("ppi.pc0-pc7: side c", "ppi.pc0-pc8: side c"), ["'pc8'", "bench.yaml:16:3"]),
        (("at: 20-23", "at: 20-23, mode: 1"), ["'mode'", "bench.yaml:9:"]),
        (("at: 20-23", "at: FE"), ["4 addresses", "bench.yaml:9:"]),
    ],
)
def test_mistakes_in_the_board_file(change: tuple[str, str], told: Sequence[str]) -> None:
    with pytest.raises(UserError) as caught:
        Bench(BOARD.replace(*change))
    assert all(part in str(caught.value) for part in told), str(caught.value)
