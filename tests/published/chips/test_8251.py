"""The 8251A driven by firmware over the bus.

Source: Intel 8251A Programmable Communication Interface data sheet; the section each
check rests on is named beside it.  All values from memory.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from emu85.board.frames import Arrival
from emu85.bus.cycles import Cycle

from .bench import BIT, CLOCK, SerialBench, line

BOARD = """
ports:
  - {{device: 8251A, name: usart, at: 20-21, terminal: {{baud: {baud}, format: {format}}}}}
  - {{device: peripheral, name: side, at: 30}}
wired:
  - {{device: oscillator, name: clock, rate: {clock} Hz}}
lines:
  usart.txc: clock.out
  usart.rxc: clock.out
  side.p0: usart.txrdy
  side.p1: usart.rxrdy
  side.p2: usart.txempty
  side.p3: usart.syndet
  side.p4: usart.dtr
  side.p5: usart.rts
  usart.cts: side.q0
  usart.dsr: side.q1
"""

# Mode bits: D1-D0 baud factor, D3-D2 length, D4 parity enable, D5 even, D7-D6 stop bits.
# Command bits: 1 TxEN, 2 DTR, 4 RxE, 8 break, 10 error reset, 20 RTS, 40 reset, 80 hunt.
NAMES = """
DATA    EQU 20H
CTL     EQU 21H
SIDE    EQU 30H
        PUT SIDE, 0FCH      ; CTS and DSR low
        JMP START
        ORG 40H
WTX:    IN CTL              ; until TxRDY
        ANI 1
        JZ WTX
        RET
WRX:    IN CTL              ; until RxRDY
        ANI 2
        JZ WRX
        RET
WTE:    IN CTL              ; until TxEMPTY
        ANI 4
        JZ WTE
        RET
PAUSE:  DCX B               ; about BC * 24 T-states
        MOV A, B
        ORA C
        JNZ PAUSE
        RET
START:
"""
MODE_8N1 = "PUT CTL, 4EH\n"
ON = "PUT CTL, 27H\n"  # TxEN, DTR, RxE, RTS
SEND = "CALL WTX\nPUT DATA, {}\n"
FETCH = "CALL WRX\nKEEP DATA\n"

TXRDY, RXRDY, TXEMPTY, PE, OE, FE, DETECT, DSR = (1 << n for n in range(8))


def bench(baud: int = 9600, format_: str = "8N1", clock: int = 153_600) -> SerialBench:
    """A board whose terminal has a speed and format; the USART has 16 clocks a bit at 9600."""
    return SerialBench(BOARD.format(baud=baud, format=format_, clock=clock), NAMES)


def test_status_after_reset() -> None:
    """Status read definition; after RESET the chip is idle and waits for a mode."""
    kept = bench().run("KEEP CTL\nPUT SIDE, 0FFH\nKEEP CTL")
    assert kept == [TXRDY | TXEMPTY | DSR, TXRDY | TXEMPTY]


def test_reset_pins() -> None:
    """Pin descriptions: TxRDY pin needs TxEN; DTR and RTS are high until a command."""
    on = bench()
    assert on.run("KEEP SIDE") == [0b11110100]  # p6 and p7 are not wired: pull-ups
    assert bench().run(MODE_8N1 + "PUT CTL, 02H\nKEEP SIDE\nPUT CTL, 20H\nKEEP SIDE") == [
        0b11100100,
        0b11010100,
    ]


@pytest.mark.parametrize(
    "before",
    [
        "",
        "PUT CTL, 0\n",  # mode: synchronous, two sync characters
        "PUT CTL, 0\nPUT CTL, 16H\n",
        "PUT CTL, 80H\n",  # one sync character
        "PUT CTL, 0\nPUT CTL, 16H\nPUT CTL, 16H\n",
        "PUT CTL, 4EH\n",
        "PUT CTL, 0CEH\nPUT CTL, 27H\nPUT DATA, 55H\n",
    ],
)
def test_three_zeros_and_a_reset_bring_it_back_from_anywhere(before: str) -> None:
    """Applications: the worst-case sequence of three 00s, then 40, then the mode."""
    board = bench()
    board.run(
        before
        + "PUT CTL, 0\nPUT CTL, 0\nPUT CTL, 0\nPUT CTL, 40H\n"
        + "LXI B, 1000\nCALL PAUSE\n"  # what was on its way is out
        + MODE_8N1
        + ON
        + SEND.format("'!'")
        + "CALL WTE\n"
    )
    assert board.terminal("usart").received[-1:] == b"!"


@pytest.mark.parametrize("factor", [1, 16, 64])
@pytest.mark.parametrize("baud", [300, 4800])
def test_the_clock_and_the_factor_make_the_baud_rate(factor: int, baud: int) -> None:
    """Mode instruction, baud rate factor: 01 is 1x, 10 is 16x, 11 is 64x."""
    board = bench(baud, clock=factor * baud)
    mode = 0x4C | {1: 1, 16: 2, 64: 3}[factor]
    board.run(f"PUT CTL, {mode}\n" + ON + "".join(SEND.format(c) for c in "123") + "CALL WTE\n")
    terminal = board.terminal("usart")
    assert terminal.received == b"\1\2\3"
    starts = [arrival.start_t for arrival in terminal.arrivals]
    character = 10 * Fraction(CLOCK, baud)
    assert [t - starts[0] for t in starts] == [0, character, 2 * character]


FORMATS = [(bits, parity, stop) for bits in (5, 6, 7, 8) for parity in "NEO" for stop in ("1", "2")]


@pytest.mark.parametrize(("bits", "parity", "stop"), FORMATS)
def test_every_format_both_ways(bits: int, parity: str, stop: str) -> None:
    """Mode instruction format, asynchronous; received bits above the length are 0."""
    board = bench(format_=f"{bits}{parity}{stop}")
    enable = {"N": 0, "O": 0x10, "E": 0x30}[parity]
    mode = 2 | bits - 5 << 2 | enable | {"1": 0x40, "2": 0xC0}[stop]
    board.says("usart", b"\xa7\x58", t=5000)
    kept = board.run(
        f"PUT CTL, {mode}\n"
        + ON
        + SEND.format("0D6H")
        + SEND.format("29H")
        + FETCH * 2
        + "CALL WTE\nKEEP CTL\n"
    )
    mask = (1 << bits) - 1
    assert kept == [0xA7 & mask, 0x58 & mask, TXRDY | TXEMPTY | DSR]
    terminal = board.terminal("usart")
    assert terminal.received == bytes([0xD6 & mask, 0x29 & mask])
    first, second = (arrival.start_t for arrival in terminal.arrivals)
    assert second - first == BIT * (1 + bits + (parity != "N") + int(stop))


def test_one_and_a_half_stop_bits() -> None:
    """Mode instruction format: D7-D6 10."""
    board = bench(format_="5N1.5")
    board.run("PUT CTL, 82H\n" + ON + SEND.format(9) + SEND.format(21) + "CALL WTE\n")
    first, second = (arrival.start_t for arrival in board.terminal("usart").arrivals)
    assert second - first == 7.5 * BIT


# --- transmitter -----------------------------------------------------------------------


def test_the_transmitter_is_double_buffered() -> None:
    """TxRDY is set when the buffer is empty, TxEMPTY when nothing is left to send."""
    kept = bench().run(
        MODE_8N1
        + ON
        + "KEEP CTL\nPUT DATA, 1\nKEEP CTL\nPUT DATA, 2\nKEEP CTL\nKEEP SIDE\n"
        + "CALL WTX\nKEEP CTL\nKEEP SIDE\nCALL WTE\nKEEP CTL\n"
    )
    status = [value & (TXRDY | TXEMPTY) for value in (kept[n] for n in (0, 1, 2, 4, 6))]
    assert status == [TXRDY | TXEMPTY, TXRDY, 0, TXRDY, TXRDY | TXEMPTY]
    assert kept[3] & 0b101 == 0 and kept[5] & 0b101 == 0b001  # the pins agree


def test_txrdy_comes_as_the_first_character_ends() -> None:
    """The buffer moves on when the transmitter is free: ten bits after it began."""
    board = bench()
    board.run(MODE_8N1 + ON + "PUT DATA, 1\nPUT DATA, 2\nCALL WTE\n")
    rises = [t for t, level in board.changes("side", "p0") if level]
    first = board.terminal("usart").arrivals[0].start_t
    assert rises[-1] == first + 10 * BIT
    empty = [t for t, level in board.changes("side", "p2") if level]
    assert empty[-1] == first + 20 * BIT


def test_the_txrdy_pin_is_masked_and_the_bit_is_not() -> None:
    """Status read definition: TxRDY bit = buffer empty; pin = buffer empty, CTS, TxEN."""
    kept = bench().run(
        MODE_8N1
        + "KEEP CTL\nKEEP SIDE\n"  # TxEN off
        + ON
        + "KEEP CTL\nKEEP SIDE\n"
        + "PUT SIDE, 0FDH\nKEEP CTL\nKEEP SIDE\n"  # CTS high
    )
    assert [value & TXRDY for value in kept[::2]] == [1, 1, 1]
    assert [value & 1 for value in kept[1::2]] == [0, 1, 0]


def test_cts_gates_and_what_was_written_before_is_sent() -> None:
    """CTS: high holds characters back; both that are in the chip by then go out."""
    board = bench()
    kept = board.run(
        MODE_8N1
        + "PUT SIDE, 0FDH\n"
        + ON
        + "PUT DATA, 'A'\nKEEP CTL\nLXI B, 500\nCALL PAUSE\nKEEP CTL\n"
        + "PUT SIDE, 0FCH\nKEEP CTL\n"
        + "PUT DATA, 'B'\nPUT SIDE, 0FDH\n"
        + "CALL WTX\nLXI B, 300\nCALL PAUSE\nKEEP CTL\n"  # both out
        + "PUT DATA, 'C'\nLXI B, 500\nCALL PAUSE\nKEEP CTL\n"
    )
    flags = [value & (TXRDY | TXEMPTY) for value in kept]
    assert flags == [TXEMPTY, TXEMPTY, TXRDY, TXRDY | TXEMPTY, TXEMPTY]
    assert board.terminal("usart").received == b"AB"


def test_txen_off_sends_what_was_written_before() -> None:
    """TxEN: 'all data in the USART, written prior to Tx Disable command'."""
    board = bench()
    board.run(
        MODE_8N1
        + ON
        + "PUT DATA, 'A'\nPUT DATA, 'B'\nPUT CTL, 26H\nCALL WTX\nPUT DATA, 'C'\n"
        + "LXI B, 800\nCALL PAUSE\n"
    )
    assert board.terminal("usart").received == b"AB"


# --- receiver --------------------------------------------------------------------------


def test_rxrdy_comes_in_the_stop_bit_and_goes_with_the_read() -> None:
    """RxRDY: set when a character is assembled, reset when it is read."""
    board = bench()
    board.says("usart", b"k", t=20_000)
    kept = board.run(MODE_8N1 + ON + "KEEP CTL\nCALL WRX\nKEEP CTL\nKEEP DATA\nKEEP CTL\n")
    assert [value & RXRDY for value in (kept[0], kept[1], kept[3])] == [0, RXRDY, 0]
    assert kept[2] == ord("k")
    rise, fall = [t for t, _ in board.changes("side", "p1")][-2:]
    assert rise == 20_000 + 9.5 * BIT
    # The read ends RxRDY; the firmware's poll takes a few dozen T-states.
    assert [t for t in board.ends_of(Cycle.IOR, 0x20) if abs(t - fall) <= 3]


def test_parity_error_and_error_reset() -> None:
    """PE: set by a wrong parity bit, does not stop anything, reset by ER."""
    board = bench(format_="8E1")
    board.says("usart", b"\x07\x08", t=5000)
    kept = board.run(
        "PUT CTL, 5EH\n"  # odd parity
        + ON
        + FETCH
        + "KEEP CTL\n"
        + FETCH
        + "KEEP CTL\nPUT CTL, 37H\nKEEP CTL\nPUT DATA, 7\nCALL WTE\n"
    )
    assert kept[0] == 0x07 and kept[2] == 0x08
    assert [value & (PE | OE | FE) for value in (kept[1], kept[3], kept[4])] == [PE, PE, 0]
    assert board.terminal("usart").parity_errors == 1


def test_overrun_keeps_the_newer_character() -> None:
    """OE: the character that was not read is lost; the flag stays until ER."""
    board = bench()
    board.says("usart", b"ab", t=5000)
    kept = board.run(
        MODE_8N1
        + ON
        + "LXI B, 800\nCALL PAUSE\nKEEP CTL\n"
        + FETCH
        + "KEEP CTL\nPUT CTL, 37H\nKEEP CTL\n"
    )
    assert kept[1] == ord("b")
    assert [value & OE for value in (kept[0], kept[2], kept[3])] == [OE, OE, 0]


def test_framing_error_of_a_terminal_that_is_too_slow() -> None:
    """FE: no valid stop bit; here bit 7 of a slower sender stands where it belongs."""
    # At 8000 baud the sender's bits last 384 T-states; 9.5 of ours are 3040: its bit 6.
    board = bench(8000)
    board.says("usart", b"\x3f", t=5000)
    kept = board.run(MODE_8N1 + ON + FETCH + "KEEP CTL\nPUT CTL, 37H\nKEEP CTL\n")
    assert [value & (FE | PE) for value in kept[1:]] == [FE, 0]
    assert kept[0] == expected(0x3F, 384, BIT)


def expected(value: int, sent: Fraction | int, read: Fraction | int) -> int:
    """What a receiver makes of a character sent with bits of another length."""
    levels = [0, *(value >> n & 1 for n in range(8)), 1]
    middles = [(n + Fraction(3, 2)) * read for n in range(8)]
    return sum(levels[min(9, middle // sent)] << n for n, middle in enumerate(middles))


@pytest.mark.parametrize("baud", [4800, 7200, 8800, 10_400, 12_800, 19_200])
def test_a_wrong_baud_rate_gives_garbage_both_ways(baud: int) -> None:
    """Asynchronous reception: bits are sampled at the receiver's own rate."""
    board = bench(baud)
    board.says("usart", b"\x54", t=5000)
    firmware = MODE_8N1 + ON + FETCH + "PUT DATA, 54H\nCALL WTE\nLXI B, 500\nCALL PAUSE\n"
    first = board.run(firmware)[0]
    assert first == expected(0x54, Fraction(CLOCK, baud), BIT)
    assert first != 0x54
    terminal = board.terminal("usart")
    assert terminal.arrivals[0].value == expected(0x54, BIT, Fraction(CLOCK, baud))
    assert terminal.received[:1] != b"\x54"
    assert terminal.arrivals


def test_without_rxe_nothing_is_received() -> None:
    """RxE off 'both masks and holds RxRDY in the reset condition'."""
    board = bench()
    board.says("usart", b"a", t=5000)
    kept = board.run(
        MODE_8N1 + "PUT CTL, 23H\nLXI B, 500\nCALL PAUSE\nKEEP CTL\n" + ON + "KEEP CTL\n"
    )
    assert [value & (RXRDY | OE) for value in kept] == [0, 0]


def test_a_false_start_bit_is_no_character() -> None:
    """False start bit detection: the line is looked at again in the middle of the bit."""
    text = BOARD.format(baud=9600, format="8N1", clock=153_600)
    text = text.replace(", terminal: {baud: 9600, format: 8N1}", "") + "  usart.rxd: side.q2\n"
    kept = SerialBench(text, NAMES).run(
        MODE_8N1
        + "PUT SIDE, 0FCH\n"
        + ON
        + "PUT SIDE, 0F8H\nPUT SIDE, 0FCH\n"  # low for 17 T-states of 320
        + "LXI B, 500\nCALL PAUSE\nKEEP CTL\n"
        + "PUT SIDE, 0F8H\nLXI B, 10\nCALL PAUSE\nPUT SIDE, 0FCH\n"  # for 255 to 280
        + "LXI B, 500\nCALL PAUSE\nKEEP CTL\nKEEP DATA\n"
    )
    assert kept[0] & RXRDY == 0
    assert kept[1] & (RXRDY | FE) == RXRDY
    assert kept[2] == 0xFF


# --- break -----------------------------------------------------------------------------


def test_send_break() -> None:
    """SBRK forces TxD low; afterwards characters pass again."""
    board = bench()
    board.run(
        MODE_8N1
        + ON
        + "PUT CTL, 2FH\nLXI B, 300\nCALL PAUSE\n"
        + ON
        + "LXI B, 100\nCALL PAUSE\nPUT DATA, 'x'\nCALL WTE\n"
    )
    terminal = board.terminal("usart")
    assert [arrival.fault for arrival in terminal.arrivals] == ["break", ""]
    assert terminal.breaks == 1 and terminal.received == b"x"


def test_break_detect() -> None:
    """BRKDET: RxD low through two stop bits in a row; it goes when RxD returns to 1."""
    start, low = 10_000, 30
    board = bench()
    board.breaks("usart", low, t=start)
    board.says("usart", b"y", t=start + 1)
    kept = board.run(
        MODE_8N1
        + ON
        + FETCH
        + "KEEP CTL\n"  # the first character of zeros: FE, no break yet
        + "LXI B, 160\nCALL PAUSE\nKEEP CTL\nKEEP CTL\n"  # 3840 T-states later; reading keeps it
        + FETCH
        + "KEEP CTL\n"
    )
    assert kept[0] == 0 and kept[4] == ord("y")
    assert [kept[n] & DETECT for n in (1, 2, 3, 5)] == [0, DETECT, DETECT, 0]
    assert kept[1] & FE
    rise, fall = [t for t, _ in board.changes("side", "p3")][-2:]
    assert rise == start + 19.5 * BIT  # the middle of the second stop bit
    assert fall == start + low * BIT


def test_a_break_of_one_character_is_no_break() -> None:
    """Only the framing error tells of it."""
    board = bench()
    board.breaks("usart", 12, t=10_000)
    kept = board.run(MODE_8N1 + ON + FETCH + "KEEP CTL\nLXI B, 400\nCALL PAUSE\nKEEP CTL\n")
    assert [value & (DETECT | FE) for value in kept[1:]] == [FE, FE]


def test_break_detect_on_a_plain_wire() -> None:
    """The same where RxD is a bare level, such as a plug that is pulled."""
    text = BOARD.format(baud=9600, format="8N1", clock=153_600)
    text = text.replace(", terminal: {baud: 9600, format: 8N1}", "") + "  usart.rxd: side.q2\n"
    board = SerialBench(text, NAMES)
    kept = board.run(
        MODE_8N1
        + ON
        + "PUT SIDE, 0F8H\n"
        + FETCH
        + "KEEP CTL\nLXI B, 400\nCALL PAUSE\nKEEP CTL\n"
        + "PUT SIDE, 0FCH\nKEEP CTL\nLXI B, 400\nCALL PAUSE\nKEEP CTL\n"
    )
    assert kept[0] == 0
    assert [value & (DETECT | RXRDY) for value in kept[1:]] == [0, DETECT, 0, 0]
    rise, fall = [t for t, _ in board.changes("side", "p3")][-2:]
    low = [end for end in board.ends_of(Cycle.IOW, 0x30) if end < rise][-1]
    assert abs(rise - (low + 19.5 * BIT)) <= 3
    assert [end for end in board.ends_of(Cycle.IOW, 0x30) if abs(end - fall) <= 3]


# --- interrupts ------------------------------------------------------------------------


def test_an_echo_by_interrupt() -> None:
    """RxRDY as the interrupt that its pin is meant for."""
    text = BOARD.format(baud=9600, format="8N1", clock=153_600) + "  RST 6.5: usart.rxrdy\n"
    board = SerialBench(text, NAMES)
    board.says("usart", b"Neap and spring\r", t=5000)
    board.run(
        MODE_8N1
        + ON
        + """
        MVI A, 0DH          ; RST 6.5 alone
        SIM
        MVI B, 16
NEXT:   EI
        HLT
        DCR B
        JNZ NEXT
        CALL WTE
        JMP DONE
        ORG 34H
        JMP ECHO
        ORG 300H
ECHO:   IN DATA
        OUT DATA
        RET
"""
    )
    assert board.terminal("usart").received == b"Neap and spring\r"


# --- synchronous ------------------------------------------------------------------------

SYNC_BOARD = """
ports:
  - {device: 8251A, name: out, at: 20-21}
  - {device: 8251A, name: in, at: 24-25}
  - {device: peripheral, name: side, at: 30}
wired:
  - {device: oscillator, name: clock, rate: 9600 Hz}
lines:
  out.txc: clock.out
  in.rxc: clock.out
  in.rxd: out.txd
  side.p0: out.txd
  side.p1: in.syndet
  side.p2: out.txempty
EXTRA
"""
SYNC_NAMES = """
DATA    EQU 20H
CTL     EQU 21H
DATA2   EQU 24H
CTL2    EQU 25H
SIDE    EQU 30H
        JMP START
WTX:    IN CTL
        ANI 1
        JZ WTX
        RET
WRX:    IN CTL2
        ANI 2
        JZ WRX
        RET
PAUSE:  DCX B
        MOV A, B
        ORA C
        JNZ PAUSE
        RET
START:
"""
FETCH2 = "CALL WRX\nKEEP DATA2\n"


def sync_bench(extra: str = "") -> SerialBench:
    return SerialBench(SYNC_BOARD.replace("EXTRA", extra), SYNC_NAMES)


def sync_firmware(mode: int, syncs: list[int], hunt: str = "PUT CTL2, 94H\n") -> str:
    """Both chips in one mode; the receiver hunts, the transmitter is enabled."""
    words = [mode, *syncs]
    chips = "".join(f"PUT {ctl}, {word}\n" for ctl in ("CTL", "CTL2") for word in words)
    return chips + hunt + "PUT CTL, 01H\n"


@pytest.mark.parametrize(
    ("mode", "syncs"),
    [
        (0x0C, [0x16, 0x32]),  # 8 bits, two sync characters
        (0x8C, [0x16]),  # one
        (0x3C, [0x16, 0x16]),  # even parity
        (0x98, [0x5A]),  # 7 bits, odd parity, one
        (0x80, [0x0B]),  # 5 bits
    ],
)
def test_synchronous_characters_after_a_hunt(mode: int, syncs: list[int]) -> None:
    """Synchronous mode: sync characters end the hunt, SYNDET is set and read away."""
    bits = 5 + (mode >> 2 & 3)
    mask = (1 << bits) - 1
    sent = [value & mask for value in (0xC3, 0x55, 0x00, 0x7E, 0xFF)]
    board = sync_bench()
    kept = board.run(
        sync_firmware(mode, syncs)
        + "KEEP CTL2\n"
        + "".join(SEND.format(value) for value in syncs + sent[:1])
        + "LXI B, 60\nSYN: IN CTL2\nANI 40H\nJZ SYN\nMOV M, A\nINX H\nKEEP CTL2\n"
        + SEND.format(sent[1])
        + FETCH2
        + "".join(SEND.format(value) + FETCH2 for value in sent[2:])
        + FETCH2
        + "KEEP CTL2\n"
    )
    assert kept[0] & DETECT == 0
    assert kept[1] == DETECT and kept[2] & DETECT == 0
    assert kept[3:8] == sent
    assert kept[-1] & (PE | OE) == 0


def test_fillers_are_sync_characters_and_txempty_is_high() -> None:
    """TxEMPTY in synchronous mode: sync characters are being sent as fillers."""
    board = sync_bench()
    kept = board.run(
        sync_firmware(0x0C, [0x16, 0x32])
        + "PUT DATA, 16H\nCALL WTX\nPUT DATA, 32H\nCALL WTX\nPUT DATA, 0A5H\nCALL WTX\nKEEP CTL\n"
        + FETCH2
        + "LXI B, 20\nCALL PAUSE\nKEEP CTL\n"  # into the filler
        + FETCH2 * 4
        + "KEEP CTL\n"
    )
    assert [kept[n] & TXEMPTY for n in (0, 2, 7)] == [0, TXEMPTY, TXEMPTY]
    assert [kept[1], *kept[3:7]] == [0xA5, 0x16, 0x32, 0x16, 0x32]


def test_txd_changes_with_the_fall_of_txc() -> None:
    """Waveforms: TxD changes on the falling edge of TxC, a bit a clock at 1x."""
    board = sync_bench()
    board.run(sync_firmware(0x8C, [0x16]) + "PUT DATA, 55H\nLXI B, 300\nCALL PAUSE\n")
    changes = [(t, level) for t, level in board.changes("side", "p0") if t]
    first = changes[0][0]
    assert (first - BIT // 2) % BIT == 0  # the clock rises at multiples of a bit
    # 55H is 1 first, as the mark before it, so the first change is its second bit.
    assert changes[:6] == [(first + n * BIT, n % 2) for n in range(6)]


def test_without_a_hunt_characters_begin_anywhere() -> None:
    """EH must be given: until then bits are taken as they come."""
    board = sync_bench()
    kept = board.run(
        sync_firmware(0x8C, [0x16], hunt="")
        + "PUT DATA, 16H\nLXI B, 13\nCALL PAUSE\nPUT CTL2, 14H\n"
        + FETCH2
        + "KEEP CTL2\n"
    )
    assert kept[1] & DETECT == 0


def test_external_sync_begins_at_the_rise_of_syndet() -> None:
    """SYNDET as an input: characters are assembled from the next bit on."""
    board = sync_bench("  in.syndet: side.q7")
    kept = board.run(
        "PUT SIDE, 7FH\n"
        + sync_firmware(0xCC, [0x00])
        + """
        PUT DATA, 0FFH      ; idle ones, then zeros in front of the data
        CALL WTX
        PUT DATA, 69H
        CALL WTX            ; the character before has moved on: 69H begins within a bit
        CALL SEEN
        KEEP DATA2
        JMP DONE
SEEN:   PUT SIDE, 0FFH
        JMP WRX
"""
    )
    assert kept == [0x69]


def test_synchronous_parity_error() -> None:
    """PE in synchronous mode: the sender's parity is odd, the receiver's even."""
    board = sync_bench()
    kept = board.run(
        "PUT CTL, 9CH\nPUT CTL, 16H\nPUT CTL2, 0BCH\nPUT CTL2, 16H\nPUT CTL2, 94H\nPUT CTL, 1\n"
        + "PUT DATA, 16H\nCALL WTX\nPUT DATA, 43H\n"
        + FETCH2
        + "KEEP CTL2\n"
    )
    assert kept[0] == 0x43 and kept[1] & PE


def test_no_clock_no_characters() -> None:
    """TxC makes the rate; without it nothing leaves the chip."""
    text = BOARD.format(baud=9600, format="8N1", clock=153_600).replace(
        "  usart.txc: clock.out\n", ""
    )
    board = SerialBench(text, NAMES)
    kept = board.run(MODE_8N1 + ON + "PUT DATA, 1\nLXI B, 1000\nCALL PAUSE\nKEEP CTL\n")
    assert kept[0] & TXRDY == 0
    assert not board.terminal("usart").arrivals


def test_what_a_terminal_hears_is_what_was_sent() -> None:
    """A character's arrival: its start, and the middle of its stop bit."""
    board = bench()
    board.run(MODE_8N1 + ON + "PUT DATA, 4DH\nCALL WTE\n")
    (write,) = board.ends_of(Cycle.IOW, 0x20)
    (arrival,) = board.terminal("usart").arrivals
    assert arrival == Arrival(arrival.start_t, arrival.start_t + 9 * BIT + BIT // 2, 0x4D, "")
    assert abs(arrival.start_t - write) <= 3


def test_a_synchronous_clock_of_no_whole_period() -> None:
    """7 kHz is 438.857... T-states: a bit a clock, each at the nearest T-state."""
    board = SerialBench(SYNC_BOARD.replace("9600 Hz", "7 kHz").replace("EXTRA", ""), SYNC_NAMES)
    board.run(sync_firmware(0x8C, [0x16]) + "PUT DATA, 55H\nLXI B, 400\nCALL PAUSE\n")
    changes = [t for t, _ in board.changes("side", "p0") if t]
    period = Fraction(CLOCK, 7000)
    falls = [period * n + period / 2 for n in range(100)]
    assert all(min(abs(fall - t) for fall in falls) <= Fraction(1, 2) for t in changes)
    steps = [round((b - a) / period) for a, b in pairwise(changes[:6])]
    assert steps == [1] * 5


# --- clocks made edge by edge -------------------------------------------------------------

EDGES = """
ports:
  - {device: 8251A, name: usart, at: 20-21}
  - {device: peripheral, name: side, at: 30}
lines:
  usart.txc: side.q0
  usart.rxc: side.q1
  usart.rxd: side.q2
  side.p0: usart.txd
  side.p1: usart.txempty
  side.p3: usart.syndet
"""
EDGE_NAMES = """
DATA    EQU 20H
CTL     EQU 21H
SIDE    EQU 30H
KEEPTX  MACRO CLOCKS        ; so many falls of TxC, and what TxD and TxEMPTY are after each
        LOCAL AGAIN
        LXI B, CLOCKS
AGAIN:  PUT SIDE, 0DH
        PUT SIDE, 0CH
        KEEP SIDE
        DCX B
        MOV A, B
        ORA C
        JNZ AGAIN
        ENDM
BIT     MACRO LEVEL, CLOCKS ; RxD at a level for so many rises of RxC
        LOCAL AGAIN
        MVI B, CLOCKS
AGAIN:  PUT SIDE, LEVEL * 4
        PUT SIDE, LEVEL * 4 + 2
        PUT SIDE, LEVEL * 4
        DCR B
        JNZ AGAIN
        ENDM
        PUT SIDE, 4
"""


def edge_bench() -> SerialBench:
    return SerialBench(EDGES, EDGE_NAMES)


@pytest.mark.parametrize(
    ("mode", "factor", "parity"), [(0x4D, 1, "N"), (0x7E, 16, "E"), (0x4F, 64, "N")]
)
def test_a_transmitter_clocked_by_firmware(mode: int, factor: int, parity: str) -> None:
    """Mode instruction: 1, 16 or 64 clocks a bit; TxD changes on the falling edge of TxC."""
    levels = line(0x35, 8, parity)
    kept = edge_bench().run(
        f"PUT CTL, {mode}\nPUT CTL, 1\nPUT DATA, 35H\nKEEP SIDE\n"
        f"KEEPTX {len(levels) * factor + 2}\n"
    )
    assert kept[0] & 3 == 1  # at mark, and not empty: without a clock nothing has begun
    sent = kept[1:]
    assert [each & 1 for each in sent[:-2]] == [level for level in levels for _ in range(factor)]
    assert [each & 3 for each in sent[-2:]] == [3, 3]  # mark, and empty
    assert not any(each & 2 for each in sent[:-2])


def test_characters_clocked_by_firmware_follow_one_another() -> None:
    """Double buffering: the second character waits and begins where the stop bits end."""
    kept = edge_bench().run(
        "PUT CTL, 0CDH\nPUT CTL, 1\nPUT DATA, 0A1H\nKEEPTX 1\nPUT DATA, 5EH\nKEEPTX 23\n"
    )
    two_stops = [*line(0xA1, 8, "N"), 1, *line(0x5E, 8, "N"), 1]
    assert [each & 1 for each in kept] == [*two_stops, 1, 1]


@pytest.mark.parametrize(("mode", "factor"), [(0x4D, 1), (0x4E, 16), (0x4F, 64)])
def test_a_receiver_clocked_by_firmware(mode: int, factor: int) -> None:
    """RxD is sampled on the rising edge of RxC, in the middle of each bit."""
    sent = "".join(f"BIT {level}, {factor}\n" for level in (1, *line(0xC6, 8, "N")))
    kept = edge_bench().run(f"PUT CTL, {mode}\nPUT CTL, 4\n{sent}KEEP CTL\nKEEP DATA\nKEEP CTL\n")
    assert kept[0] & (RXRDY | FE | PE | OE) == RXRDY
    assert kept[1] == 0xC6
    assert not kept[2] & RXRDY


def test_errors_of_characters_clocked_by_firmware() -> None:
    """Framing error: no stop bit; then a start bit of less than half a bit is none."""
    bad = "".join(f"BIT {level}, 16\n" for level in (1, *line(0x42, 8, "N")[:-1], 0, 1))
    kept = edge_bench().run(
        f"PUT CTL, 4EH\nPUT CTL, 4\n{bad}KEEP CTL\nKEEP DATA\nPUT CTL, 14H\n"
        "BIT 0, 7\nBIT 1, 200\nKEEP CTL\n"
    )
    assert kept[0] & (RXRDY | FE) == RXRDY | FE
    assert kept[1] == 0x42
    assert not kept[2] & (RXRDY | FE)


def test_break_clocked_by_firmware() -> None:
    """Break detect: RxD low through two character times, until it is high again."""
    kept = edge_bench().run(
        "PUT CTL, 4DH\nPUT CTL, 4\nBIT 1, 2\nBIT 0, 10\nKEEP CTL\nBIT 0, 9\nKEEP CTL\n"
        "BIT 0, 1\nKEEP CTL\nBIT 1, 1\nKEEP CTL\n"
    )
    assert [each & DETECT for each in kept] == [0, 0, DETECT, 0]


def test_synchronous_mode_clocked_by_firmware() -> None:
    """Out: sync characters fill.  In: a hunt for one sync character, then data."""
    out = edge_bench().run("PUT CTL, 8CH\nPUT CTL, 16H\nPUT CTL, 1\nPUT DATA, 0C5H\nKEEPTX 24\n")
    bits = [each & 1 for each in out]
    assert [sum(bits[at + n] << n for n in range(8)) for at in (0, 8, 16)] == [0xC5, 0x16, 0x16]
    levels = [1, 0, 1, *(0x16 >> n & 1 for n in range(8)), *(0x5A >> n & 1 for n in range(8))]
    sent = "".join(f"BIT {level}, 1\n" for level in levels)
    kept = edge_bench().run(
        f"PUT CTL, 8CH\nPUT CTL, 16H\nPUT CTL, 84H\n{sent}KEEP CTL\nKEEP DATA\n"
    )
    assert kept[0] & (DETECT | RXRDY) == DETECT | RXRDY
    assert kept[1] == 0x5A


def test_a_gated_clock_makes_the_rate() -> None:
    """A clock through a gate comes edge by edge; a terminal hears what it would from a
    steady one, and what it sends is understood."""
    board = SerialBench(
        BOARD.format(baud=9600, format="8N1", clock=153_600)
        .replace("usart.txc: clock.out", "usart.txc: {all: [clock.out, side.q7]}")
        .replace("usart.rxc: clock.out", "usart.rxc: {all: [clock.out, side.q7]}"),
        NAMES,
    )
    board.says("usart", b"ebb", t=20_000)
    kept = board.run(
        "PUT SIDE, 7CH\n" + MODE_8N1 + ON + "PUT DATA, 4DH\nLXI B, 200\nCALL PAUSE\nKEEP CTL\n"
        "PUT SIDE, 0FCH\n" + FETCH * 3 + "CALL WTE\n"
    )
    assert not kept[0] & TXRDY  # the clock stood still
    assert kept[1:] == list(b"ebb")
    assert board.terminal("usart").received == b"M"


def test_a_steady_clock_after_single_edges() -> None:
    """Our choice: a character that single edges have begun is dropped when TxC becomes a
    steady clock, and the next one takes its speed.  Here TxC is a timer's output."""
    text = """
ports:
  - {device: 8251A, name: usart, at: 20-21, terminal: {baud: 9600, format: 8N1}}
  - {device: 8253, name: timer, at: 40-43}
  - {device: peripheral, name: side, at: 30}
wired:
  - {device: oscillator, name: clock, rate: 1.536 MHz}
lines:
  timer.clk0: clock.out
  usart.txc: timer.out0
  side.p0: usart.txd
"""
    board = SerialBench(text, NAMES)
    board.run(
        """
        PUT 43H, 10H        ; mode 0: low
        PUT CTL, 4EH
        PUT CTL, 1
        PUT DATA, 00H
        PUT 40H, 1          ; a rise
        NOP
        PUT 43H, 10H        ; a fall: the start bit begins
        PUT 43H, 16H        ; mode 3: 153.6 kHz
        PUT 40H, 10
        LXI B, 300
        CALL PAUSE
        PUT DATA, 6AH
        CALL WTE
        """
    )
    assert board.terminal("usart").received == b"\x6a"
    levels = [level for _, level in board.changes("side", "p0")]
    assert levels[:3] == [1, 0, 1]
