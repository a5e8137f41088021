"""The UART of the 16550 kind driven by firmware over the bus.

Source: National Semiconductor PC16550D Universal Asynchronous Receiver/Transmitter
with FIFOs data sheet; the section each check rests on is named beside it.  All values
from memory.
"""

from __future__ import annotations

import pytest

from emu85.bus.cycles import Cycle

from .bench import BIT, SerialBench

BOARD = """
ports:
  - {{device: 16550, name: uart, at: 20-27{xin}, terminal: {{baud: {baud}, format: {format}}}}}
  - {{device: peripheral, name: side, at: 30}}
wired:
  - {{device: oscillator, name: clock, rate: 1.536 MHz}}
lines:
  {clock}
  side.p0: uart.intrpt
  side.p1: uart.dtr
  side.p2: uart.rts
  side.p3: uart.out1
  side.p4: uart.out2
  side.p5: uart.rxrdy
  side.p6: uart.txrdy
  uart.cts: side.q0
  uart.dsr: side.q1
  uart.ri: side.q2
  uart.dcd: side.q3
"""

# 1.536 MHz / 16 / 10 is 9600 baud.
NAMES = """
RBR     EQU 20H
THR     EQU 20H
DLL     EQU 20H
DLM     EQU 21H
IER     EQU 21H
IIR     EQU 22H
FCR     EQU 22H
LCR     EQU 23H
MCR     EQU 24H
LSR     EQU 25H
MSR     EQU 26H
SCR     EQU 27H
SIDE    EQU 30H
BAUD    MACRO DIVISOR, FORMAT
        PUT LCR, 80H
        PUT DLL, LOW (DIVISOR)
        PUT DLM, HIGH (DIVISOR)
        PUT LCR, FORMAT
        ENDM
        PUT SIDE, 0FFH
        JMP START
        ORG 40H
WDR:    IN LSR              ; until data ready
        ANI 1
        JZ WDR
        RET
WTH:    IN LSR              ; until THR empty
        ANI 20H
        JZ WTH
        RET
WTE:    IN LSR              ; until all is out
        ANI 40H
        JZ WTE
        RET
PAUSE:  DCX B               ; about BC * 24 T-states
        MOV A, B
        ORA C
        JNZ PAUSE
        RET
START:
"""
ON = "BAUD 10, 03H\n"
SEND = "CALL WTH\nPUT THR, {}\n"
FETCH = "CALL WDR\nKEEP RBR\n"
WAIT = "LXI B, {}\nCALL PAUSE\n"

DR, OE, PE, FE, BI, THRE, TEMT, FIFO_ERROR = (1 << n for n in range(8))
CHARACTER = 10 * BIT
REGISTERS = ("IER", "IIR", "LCR", "MCR", "LSR", "MSR", "SIDE")


def bench(baud: int = 9600, format_: str = "8N1", *, xin: str = "") -> SerialBench:
    """A board with a terminal; the clock comes by a wire, or as the option ``xin``."""
    option = f", xin: {xin}" if xin else ""
    clock = "side.p7: uart.out2" if xin else "uart.xin: clock.out"
    return SerialBench(BOARD.format(baud=baud, format=format_, xin=option, clock=clock), NAMES)


def test_master_reset() -> None:
    """UART reset configuration: IER 00, IIR 01, LCR 00, MCR 00, LSR 60, MSR bits 0-3 0."""
    kept = bench().run(*(f"KEEP {r}\n" for r in REGISTERS))
    assert kept == [0x00, 0x01, 0x00, 0x00, 0x60, 0x00, 0b10111110]


def test_scratch_and_the_divisor_latch() -> None:
    """DLAB: registers 0 and 1 are the divisor latches while LCR bit 7 is 1."""
    kept = bench().run(
        "PUT SCR, 5AH\nPUT IER, 0FH\nPUT LCR, 83H\nPUT DLL, 34H\nPUT DLM, 12H\n"
        "KEEP DLL\nKEEP DLM\nKEEP SCR\nPUT LCR, 03H\nKEEP IER\nKEEP LCR\n"
    )
    assert kept == [0x34, 0x12, 0x5A, 0x0F, 0x03]


@pytest.mark.parametrize(("divisor", "baud"), [(320, 300), (80, 1200), (10, 9600), (5, 19200)])
@pytest.mark.parametrize("xin", ["", "1.536 MHz"])
def test_the_divisor_makes_the_baud_rate(divisor: int, baud: int, xin: str) -> None:
    """Programmable baud generator: XIN / (16 * divisor)."""
    board = bench(baud, xin=xin)
    board.run(f"BAUD {divisor}, 03H\n", SEND.format(0x55), SEND.format(0xC1), "CALL WTE\n")
    terminal = board.terminal("uart")
    assert terminal.received == b"\x55\xc1"
    first, second = (arrival.start_t for arrival in terminal.arrivals)
    assert second - first == 10 * 3_072_000 // baud


FORMATS = [
    (bits, parity, stop)
    for bits in (5, 6, 7, 8)
    for parity in "NOEMS"
    for stop in ("1", "1.5" if bits == 5 else "2")
]


@pytest.mark.parametrize(("bits", "parity", "stop"), FORMATS)
def test_every_format_both_ways(bits: int, parity: str, stop: str) -> None:
    """Line control register, bits 0 to 5."""
    lcr = bits - 5 | {"N": 0, "O": 0x08, "E": 0x18, "M": 0x28, "S": 0x38}[parity]
    lcr |= 0 if stop == "1" else 4
    board = bench(format_=f"{bits}{parity}{stop}")
    board.says("uart", b"\xa7\x58", t=10_000)
    kept = board.run(
        f"BAUD 10, {lcr}\n", SEND.format(0xD6), SEND.format(0x29), FETCH * 2, "CALL WTE\nKEEP LSR\n"
    )
    mask = (1 << bits) - 1
    assert kept == [0xA7 & mask, 0x58 & mask, THRE | TEMT]
    terminal = board.terminal("uart")
    assert terminal.received == bytes([0xD6 & mask, 0x29 & mask])
    first, second = (arrival.start_t for arrival in terminal.arrivals)
    assert second - first == BIT * (1 + bits + (parity != "N") + float(stop))


# --- line status -----------------------------------------------------------------------


def test_thre_and_temt() -> None:
    """Line status register, bits 5 and 6."""
    kept = bench().run(
        ON, "PUT THR, 1\nKEEP LSR\nPUT THR, 2\nKEEP LSR\nCALL WTH\nKEEP LSR\nCALL WTE\nKEEP LSR\n"
    )
    assert kept == [THRE, 0, THRE, THRE | TEMT]


def test_overrun_destroys_the_character_that_was_not_read() -> None:
    """LSR bit 1, FIFOs off; reading the LSR resets it."""
    board = bench()
    board.says("uart", b"ab", t=10_000)
    kept = board.run(ON, WAIT.format(1000), "KEEP LSR\nKEEP LSR\nKEEP RBR\nKEEP LSR\n")
    assert kept == [DR | OE | THRE | TEMT, DR | THRE | TEMT, ord("b"), THRE | TEMT]


def test_parity_error() -> None:
    """LSR bit 2: set with the character, reset by reading the LSR."""
    board = bench(format_="8E1")
    board.says("uart", b"\x07", t=10_000)
    kept = board.run("BAUD 10, 0BH\n", "CALL WAITS\nKEEP RBR\nKEEP LSR\nJMP DONE\n", WAITS)
    assert kept[0] & (DR | PE | FE) == DR | PE and kept[1] == 0x07
    assert kept[2] & PE == 0


# The first read of the LSR that shows data is kept as it is: it resets the errors.
WAITS = "WAITS: IN LSR\nMOV M, A\nANI 1\nJZ WAITS\nINX H\nRET\n"


def test_framing_error_of_a_slower_terminal() -> None:
    """LSR bit 3: the stop bit is a space; here bit 6 of a sender at 8000 baud."""
    board = bench(8000)
    board.says("uart", b"\x3f", t=10_000)
    kept = board.run(ON, "CALL WAITS\nKEEP RBR\nJMP DONE\n", WAITS)
    assert kept[0] & (DR | FE | PE) == DR | FE
    assert kept[1] == 0x7F  # bits 1-6 of ours fall on its bits 0-5, our bit 0 on its bit 0


def test_break_is_one_null_character() -> None:
    """LSR bit 4: 'only one zero character is loaded'; the next needs a mark first."""
    board = bench()
    board.breaks("uart", 45, t=10_000)
    board.says("uart", b"z", t=10_001)
    kept = board.run(
        ON, "CALL WAITS\nKEEP RBR\n", WAIT.format(300),
        "KEEP LSR\nCALL WAITS\nKEEP RBR\nJMP DONE\n", WAITS,
    )  # fmt: skip
    assert kept[0] & (DR | BI | FE) == DR | BI | FE and kept[1] == 0
    assert kept[2] & (DR | BI) == 0
    assert kept[3] & (DR | BI | FE) == DR and kept[4] == ord("z")


def test_set_break() -> None:
    """LCR bit 6 forces SOUT to a space until it is cleared."""
    board = bench()
    board.run(ON, "PUT LCR, 43H\n", WAIT.format(300), "PUT LCR, 03H\n", WAIT.format(50))
    terminal = board.terminal("uart")
    assert [arrival.fault for arrival in terminal.arrivals] == ["break"]


# --- FIFOs -----------------------------------------------------------------------------


def test_fifo_enable_shows_in_the_ident() -> None:
    """IIR bits 6 and 7 are set while FCR bit 0 is; other bits need bit 0."""
    kept = bench().run("KEEP IIR\nPUT FCR, 01H\nKEEP IIR\nPUT FCR, 00H\nKEEP IIR\n")
    assert kept == [0x01, 0xC1, 0x01]


@pytest.mark.parametrize(("code", "level"), [(0, 1), (1, 4), (2, 8), (3, 14)])
def test_trigger_levels(code: int, level: int) -> None:
    """FCR bits 6 and 7: the received data interrupt comes with that many, goes below it."""
    board = bench()
    board.says("uart", bytes(range(level)), t=20_000)
    kept = board.run(
        ON,
        f"PUT FCR, {code << 6 | 1}\nPUT IER, 01H\nKEEP IIR\n",
        "IRQ: IN SIDE\nANI 1\nJZ IRQ\nKEEP IIR\nKEEP RBR\nKEEP IIR\n",
    )
    assert kept[:2] == [0xC1, 0xC4] and kept[2] == 0
    assert kept[3] == 0xC1
    rise = next(t for t, high in board.changes("side", "p0") if high)
    assert rise == 20_000 + (level - 1) * CHARACTER + 9.5 * BIT


def test_character_time_out() -> None:
    """FIFO interrupt mode: after four character times with no character and no read."""
    board = bench()
    board.says("uart", b"no", t=20_000)
    kept = board.run(
        ON,
        "PUT FCR, 81H\nPUT IER, 01H\n",
        "IRQ: IN SIDE\nANI 1\nJZ IRQ\nKEEP IIR\nKEEP RBR\nKEEP IIR\n",
        "IRQ2: IN SIDE\nANI 1\nJZ IRQ2\nKEEP IIR\nKEEP RBR\nKEEP IIR\n",
    )
    assert kept == [0xCC, ord("n"), 0xC1, 0xCC, ord("o"), 0xC1]
    first, second = [t for t, high in board.changes("side", "p0") if high]
    assert first == 20_000 + CHARACTER + 9.5 * BIT + 4 * CHARACTER
    reads = board.ends_of(Cycle.IOR, 0x20)
    assert abs(second - (reads[0] + 4 * CHARACTER)) <= 3


def test_fifo_of_sixteen_and_its_overrun() -> None:
    """In FIFO mode an overrun leaves the FIFO as it is: the newer character is lost."""
    board = bench()
    board.says("uart", bytes(range(0x41, 0x41 + 17)), t=10_000)
    kept = board.run(
        ON, "PUT FCR, 01H\n", WAIT.format(2800), "KEEP LSR\n", "KEEP RBR\n" * 16, "KEEP LSR\n"
    )
    assert kept[0] & (DR | OE) == DR | OE
    assert bytes(kept[1:17]) == b"ABCDEFGHIJKLMNOP"
    assert kept[17] & (DR | OE) == 0


def test_errors_show_when_their_character_is_at_the_top() -> None:
    """LSR bits 2 to 4 in FIFO mode; bit 7 tells that there is one further down."""
    board = bench(format_="8S1")  # odd parity is wrong where the number of ones is even
    board.says("uart", b"\x01\x03\x07", t=10_000)
    kept = board.run("BAUD 10, 0BH\nPUT FCR, 01H\n", WAIT.format(1100), "KEEP LSR\nKEEP RBR\n" * 3)
    flags = [value & (DR | PE | FIFO_ERROR) for value in kept[::2]]
    assert kept[1::2] == [1, 3, 7]
    assert flags == [DR | FIFO_ERROR, DR | PE | FIFO_ERROR, DR]


def test_fifo_resets() -> None:
    """FCR bits 1 and 2 clear the FIFOs; a change of bit 0 does as well."""
    board = bench()
    board.says("uart", b"abc", t=10_000)
    kept = board.run(
        ON,
        "PUT FCR, 01H\nPUT THR, 1\nPUT THR, 2\nPUT THR, 3\n",
        WAIT.format(50),
        "PUT FCR, 05H\nKEEP LSR\n",
        WAIT.format(800),
        "KEEP LSR\nPUT FCR, 03H\nKEEP LSR\n",
    )
    assert [value & (DR | THRE) for value in kept] == [THRE, DR | THRE, THRE]
    assert board.terminal("uart").received == b"\1"


def test_transmitter_fifo_takes_sixteen() -> None:
    """XMIT FIFO: sixteen bytes can be written when THRE is set."""
    board = bench()
    text = b"Ebb from 4 to 10"
    board.run(ON, "PUT FCR, 01H\n", *(f"PUT THR, {c}\n" for c in text), "CALL WTE\n")
    assert board.terminal("uart").received == text


# --- interrupts ------------------------------------------------------------------------


def test_priorities_and_what_ends_each_interrupt() -> None:
    """Interrupt identification: line status, received data, THR empty, modem status."""
    board = bench(format_="8E1")
    board.says("uart", b"\x07", t=10_000)
    kept = board.run(
        "BAUD 10, 0BH\n",  # odd parity: an error comes with the character
        WAIT.format(700),
        "PUT SIDE, 0FEH\n",  # CTS
        "PUT IER, 0FH\n",
        "KEEP IIR\nKEEP LSR\nKEEP IIR\nKEEP RBR\nKEEP IIR\nKEEP IIR\nKEEP MSR\nKEEP IIR\n",
    )
    assert kept[0] == 0x06 and kept[1] & PE
    assert kept[2] == 0x04 and kept[3] == 0x07
    assert kept[4] == 0x02  # reading the IIR ends it
    assert kept[5] == 0x00 and kept[6] == 0x11
    assert kept[7] == 0x01


def test_intrpt_needs_its_enable_bit() -> None:
    """IER: each bit enables one source; INTRPT is low while none is pending."""
    board = bench()
    board.says("uart", b"a", t=10_000)
    kept = board.run(
        ON, WAIT.format(700),
        "KEEP SIDE\nPUT IER, 01H\nKEEP SIDE\nKEEP RBR\nKEEP SIDE\n",
        "PUT IER, 02H\nKEEP SIDE\nKEEP IIR\nKEEP SIDE\nPUT IER, 00H\nPUT IER, 02H\nKEEP SIDE\n",
    )  # fmt: skip
    assert [kept[n] & 1 for n in (0, 1, 3, 4, 6, 7)] == [0, 1, 0, 1, 0, 1]
    assert kept[5] == 0x02


def test_writing_the_thr_ends_its_interrupt() -> None:
    """THRE: reset by reading the IIR or by writing the THR."""
    kept = bench().run(
        ON, "PUT IER, 02H\nKEEP IIR\nPUT THR, 1\nPUT THR, 2\nKEEP IIR\nCALL WTH\nKEEP IIR\n"
    )
    assert kept == [0x02, 0x01, 0x02]


def test_a_lone_byte_in_the_fifo_is_told_of_late() -> None:
    """FIFO interrupt mode: one character time less the last stop bit, unless two waited."""
    board = bench()
    board.run(
        ON,
        "PUT FCR, 01H\nPUT IER, 02H\nKEEP IIR\n",
        "PUT THR, 1\n",  # the first interrupt after FCR bit 0 changes is not delayed
        "KEEP IIR\nCALL WTE\nPUT THR, 2\nCALL WTE\nKEEP IIR\nPUT THR, 3\nPUT THR, 4\nPUT THR, 5\n",
        "CALL WTE\n",
    )
    rises = [t for t, high in board.changes("side", "p0") if high]
    starts = [arrival.start_t for arrival in board.terminal("uart").arrivals]
    assert rises[-2] == starts[1] + 9 * BIT
    assert rises[-1] == starts[4]


def test_echo_by_interrupt() -> None:
    """The usual way: received data and THR empty served by one routine."""
    text = BOARD.format(baud=9600, format="8N1", xin="", clock="uart.xin: clock.out")
    board = SerialBench(text + "  RST 6.5: uart.intrpt\n", NAMES)
    board.says("uart", b"Spring tide at noon\r", t=10_000)
    board.run(
        ON,
        """
        PUT FCR, 41H        ; trigger at four
        PUT IER, 01H
        MVI A, 0DH
        SIM
        MVI E, 20
NEXT:   EI
        HLT
        MOV A, E
        ORA A
        JNZ NEXT
        CALL WTE
        JMP DONE
        ORG 34H
        JMP SERVE
        ORG 300H
SERVE:  IN LSR
        ANI 1
        RZ
        IN RBR
        OUT THR
        DCR E
        JMP SERVE
""",
    )
    assert board.terminal("uart").received == b"Spring tide at noon\r"


# --- modem lines and loopback --------------------------------------------------------------


def test_modem_outputs() -> None:
    """MCR bits 0 to 3 drive the pins low."""
    kept = bench().run(*(f"PUT MCR, {1 << n}\nKEEP SIDE\n" for n in range(4)))
    assert [value & 0x1E for value in kept] == [0x1C, 0x1A, 0x16, 0x0E]


def test_modem_inputs_and_deltas() -> None:
    """MSR: bits 4-7 are the pins inverted; 0, 1, 3 any change, 2 the end of a ring."""
    kept = bench().run(
        "KEEP MSR\n",
        *(f"PUT SIDE, {level}\nKEEP MSR\nKEEP MSR\n" for level in (0xFE, 0xFC, 0xF8, 0xF0, 0xFF)),
    )
    assert kept[0] == 0
    assert kept[1::2] == [0x11, 0x32, 0x70, 0xF8, 0x0F]
    assert kept[2::2] == [0x10, 0x30, 0x70, 0xF0, 0x00]


def test_loopback_of_data() -> None:
    """MCR bit 4: the transmitter feeds the receiver, SOUT stays at mark."""
    board = bench()
    board.says("uart", b"outside", t=12_000)
    kept = board.run(
        ON, "PUT MCR, 10H\n", *(f"PUT THR, {c}\n{FETCH}" for c in b"loop"), "KEEP LSR\n"
    )
    assert bytes(kept[:4]) == b"loop"
    assert kept[4] & (DR | OE | FE) == 0
    assert not board.terminal("uart").arrivals


@pytest.mark.parametrize(("mcr", "msr"), [(1, 0x20), (2, 0x10), (4, 0x40), (8, 0x80)])
def test_loopback_of_modem_lines(mcr: int, msr: int) -> None:
    """In loopback RTS, DTR, OUT1, OUT2 give CTS, DSR, RI, DCD; the pins are high."""
    kept = bench().run(
        f"PUT SIDE, 0F0H\nPUT MCR, 10H\nKEEP MSR\nPUT MCR, {0x10 | mcr}\nKEEP MSR\nKEEP SIDE\n"
    )
    assert kept[1] & 0xF0 == msr
    assert kept[2] & 0x1E == 0x1E
    delta = {0x20: 2, 0x10: 1, 0x40: 0, 0x80: 8}[msr]
    assert kept[1] & 0x0F == delta


def test_interrupts_work_in_loopback() -> None:
    """Loopback: 'receiver and transmitter interrupts are fully operational'."""
    kept = bench().run(
        ON, "PUT MCR, 10H\nPUT IER, 01H\nPUT THR, 7\n",
        "IRQ: IN SIDE\nANI 1\nJZ IRQ\nKEEP IIR\nKEEP RBR\nKEEP IIR\n",
    )  # fmt: skip
    assert kept == [0x04, 7, 0x01]


# --- DMA pins ------------------------------------------------------------------------------


def test_rxrdy_and_txrdy_in_mode_0() -> None:
    """Low while there is a character; low while there is none to send."""
    board = bench()
    board.says("uart", b"a", t=10_000)
    kept = board.run(
        ON, "KEEP SIDE\n", FETCH.replace("KEEP RBR", "KEEP SIDE\nKEEP RBR"), "KEEP SIDE\n",
        "PUT THR, 1\nPUT THR, 2\nKEEP SIDE\n",
    )  # fmt: skip
    assert [kept[n] & 0x20 for n in (0, 1, 3)] == [0x20, 0, 0x20]
    assert [kept[n] & 0x40 for n in (0, 4)] == [0, 0x40]


def test_rxrdy_in_mode_1_stays_until_the_fifo_is_empty() -> None:
    """Mode 1: low from the trigger level until there is no character left."""
    board = bench()
    board.says("uart", b"abcd", t=10_000)
    kept = board.run(
        ON, "PUT FCR, 49H\n", WAIT.format(500), "KEEP SIDE\n", WAIT.format(500),
        "KEEP SIDE\nKEEP RBR\nKEEP RBR\nKEEP RBR\nKEEP SIDE\nKEEP RBR\nKEEP SIDE\n",
    )  # fmt: skip
    assert [kept[n] & 0x20 for n in (0, 1, 5, 7)] == [0x20, 0, 0, 0x20]


def test_txrdy_in_mode_1_is_high_when_the_fifo_is_full() -> None:
    """Mode 1: low while there is room."""
    firmware = (
        "PUT FCR, 09H\nKEEP SIDE\n" + "PUT THR, 1\n" * 16 + "KEEP SIDE\nPUT THR, 1\nKEEP SIDE\n"
    )
    kept = bench().run(ON, firmware)
    assert [value & 0x40 for value in kept] == [0, 0, 0x40]


def test_a_receiver_clock_of_its_own() -> None:
    """RCLK: 16 times the receiver's rate, here twice the transmitter's."""
    text = BOARD.format(baud=19200, format="8N1", xin="", clock="uart.xin: clock.out")
    text = text.replace("lines:", "  - {device: oscillator, name: fast, rate: 307.2 kHz}\nlines:")
    board = SerialBench(text + "  uart.rclk: fast.out\n", NAMES)
    board.says("uart", b"\x35", t=10_000)
    assert board.run(ON, FETCH, SEND.format(0x35), "CALL WTE\n") == [0x35]
    assert board.terminal("uart").received != b"\x35"


def test_no_divisor_no_characters() -> None:
    """A choice: a divisor of 0 stops the transmitter."""
    board = bench()
    kept = board.run("BAUD 0, 03H\nPUT THR, 1\n", WAIT.format(500), "KEEP LSR\n")
    assert kept[0] & (THRE | TEMT) == 0
    assert not board.terminal("uart").arrivals
