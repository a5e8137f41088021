"""The 8279 driven by firmware over the bus.

Source: Intel 8279/8279-5 Programmable Keyboard/Display Interface data sheet; the section
each check rests on is named beside it.  All values from memory.

The CPU's clock is 3 MHz and the prescaler 30, so the inner clock is 10 us = 30 T-states,
a row 640 us = 1920, a scan of eight rows 5.12 ms = 15360.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from emu85.board.chips.display8279 import Kdc8279
from emu85.board.schedule import NEVER
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.machine import Machine

from .bench import BEGIN, MACROS, head, kept, load, run_to

ROW, SCAN, DEBOUNCE = 1920, 15360, 30720

HEAD = (
    head("6 MHz")
    + """\
ports:
  - {device: 8279, name: kdc, at: 50-51}
"""
)

KEYPAD = (
    HEAD
    + """\
wired:
  - {device: keypad, name: pad, keys: [0 1 2 3, 4 5 6 7, 8 9 A B, C D E F, _ _ _ _ _ _ _ Z]}
lines:
  pad.s0-s2: kdc.sl0-sl2
  kdc.rl0-rl7: pad.c0-c7
  RST 5.5: kdc.irq
"""
)

WIRES = (
    HEAD
    + """\
  - {device: latch, name: returns, at: 60}
  - {device: latch, name: ends, at: 61}
lines:
  kdc.rl0-rl7: returns.q0-q7
  kdc.shift: ends.q0
  kdc.cntl: ends.q1
  RST 5.5: kdc.irq
"""
)

START = (
    MACROS
    + BEGIN
    + """\
DATA    EQU 50H
CTRL    EQU 51H
RL      EQU 60H
ENDS    EQU 61H
        JMP BEGIN
WAIT:   DCX D               ; 24 T-states for each count in DE
        MOV A, D
        ORA E
        JNZ WAIT
        RET
PAUSE   MACRO SCANS         ; a little more than so many scans
        LXI D, 660 * SCANS
        CALL WAIT
        ENDM
BEGIN:  PUT ENDS, 3
        PUT RL, 0FFH
        PUT CTRL, 3EH       ; prescaler 30
        PUT CTRL, 0C1H      ; clear all: the scan begins here
        LXI D, 25           ; till the display is available
        CALL WAIT
"""
)


def machine_with(firmware: str, board: str, keys: Sequence[tuple[int, str, str]] = ()) -> Machine:
    """A machine with firmware and what a hand will do: T-state, control, key."""
    machine = Machine.from_text(board, trace=200_000)
    load(machine, START, firmware)
    for t, control, key in keys:
        machine.schedule.at(t, lambda c=control, k=key: machine.board.adjust("pad", c, k))  # type: ignore[misc]
    return machine


def run(firmware: str, board: str = WIRES, keys: Sequence[tuple[int, str, str]] = ()) -> Machine:
    """A machine that has run the firmware to its DONE."""
    machine = machine_with(firmware, board, keys)
    run_to(machine, machine.symbols["DONE"], t_states=1_500_000)
    return machine


def shown(machine: Machine) -> str:
    device = machine.board.devices["kdc"]
    assert isinstance(device, Kdc8279)
    return device.text


# --- the keyboard ------------------------------------------------------------------------


def entries(keys: Sequence[tuple[int, str, str]], mode: int, pause: int = 14) -> list[int]:
    """What is in the FIFO after keys were worked, and the status before and after."""
    return kept(
        run(
            f"""
        PUT CTRL, {mode}
        PAUSE {pause}
        KEEP CTRL
        PUT CTRL, 40H       ; read FIFO
        IN CTRL
        ANI 0FH
        MOV B, A
NEXT:   MOV A, B
        ORA A
        JZ ENDED
        KEEP DATA
        DCR B
        JMP NEXT
ENDED:  KEEP CTRL
        """,
            KEYPAD,
            keys,
        )
    )


def test_the_character_is_the_place_of_the_key() -> None:
    """Scanned keyboard: CNTL, SHIFT (non-inverted, pulled up), three bits scan line, three
    bits return line.  One entry for each depression, however long."""
    keys = [(5000, "down", "6"), (140_000, "up", "6"), (150_000, "down", "Z")]
    assert entries(keys, 0x00) == [0x02, 0xC0 | 1 << 3 | 2, 0xC0 | 4 << 3 | 7, 0x00]


@pytest.mark.parametrize("mode", [0x00, 0x02])
def test_a_key_is_debounced_over_two_scans(mode: int) -> None:
    """Timing: debounce 10.3 ms, a scan 5.1 ms; a shorter closure is ignored, and a key is
    entered two to three scans after it went down."""
    machine = machine_with(
        f"PUT CTRL, {mode}\nPAUSE 10\n",
        KEYPAD,
        [(20_000, "down", "0"), (20_000 + SCAN + 5000, "up", "0"), (100_000, "down", "5")],
    )
    machine.run(t_states=99_000)
    assert not machine.lines & Line.RST55
    machine.run(t_states=1000 + DEBOUNCE)
    assert not machine.lines & Line.RST55
    machine.run(t_states=SCAN)
    assert machine.lines & Line.RST55


def test_two_key_lockout() -> None:
    """Two-key lockout: with two keys down neither is entered until one remains alone."""
    keys = [(20_000, "down", "1"), (24_000, "down", "4"), (100_000, "up", "4")]
    assert entries(keys, 0x00, 5)[0] == 0x00
    assert entries(keys, 0x00) == [0x01, 0xC1, 0x00]


def test_n_key_rollover() -> None:
    """N-key rollover: each depression is treated on its own; keys that come down in the same
    scan are entered in the order of the scan."""
    keys = [(15_000, "down", "D"), (15_000, "down", "1"), (80_000, "down", "4")]
    assert entries(keys, 0x02) == [0x03, 0xC1, 0xD9, 0xC8, 0x00]


def test_special_error_mode() -> None:
    """End interrupt/error mode set with E = 1 in N-key rollover: two keys in one debounce
    time set the error flag S/E and IRQ and stop entries until clear with CF."""
    firmware = """
        PUT CTRL, 02H
        PUT CTRL, 0F0H
        PAUSE 8
        KEEP CTRL
        RIM
        ANI 10H
        MOV M, A
        INX H
        PUT CTRL, 0C2H      ; clear FIFO status
        KEEP CTRL
        RIM
        ANI 10H
        MOV M, A
        INX H
    """
    keys = [(20_000, "down", "1"), (20_000, "down", "4"), (80_000, "down", "9")]
    assert kept(run(firmware, KEYPAD, keys)) == [0x40, 0x10, 0x00, 0x00]


def test_decoded_scan_has_four_rows() -> None:
    """Keyboard mode with bit 0: one of four scan lines low, a scan takes 2.56 ms."""
    board = KEYPAD.replace("pad.s0-s2: kdc.sl0-sl2", "pad.r0-r3: kdc.sl0-sl3")
    machine = machine_with("PUT CTRL, 01H\nPAUSE 10\n", board, [(50_000, "down", "E")])
    machine.run(t_states=50_000 + DEBOUNCE // 2)
    assert not machine.lines & Line.RST55
    machine.run(t_states=SCAN // 2)
    assert machine.lines & Line.RST55
    machine.run(until=machine.symbols["DONE"])
    assert machine.board.peek(0x10050) == 0xC0 | 3 << 3 | 2


def test_scan_lines_count_rows() -> None:
    """Encoded scan: SL0-SL3 count in binary, a row each 640 us; decoded: one low of four."""
    for mode, expected in ((0, [n >> 0 & 1 for n in range(16)]), (1, [0, 1, 1, 1] * 4)):
        machine = machine_with(
            f"PUT CTRL, {mode}\nPAUSE 3\n", HEAD + "lines:\n  RST 5.5: kdc.sl0\n"
        )
        machine.run(until=machine.symbols["DONE"])
        began = next(
            int(r["t"]) + 3
            for r in machine.trace.all()
            if r["type"] == Cycle.IOW and r["address"] & 0xFF == 0x51 and r["data"] == 0xC1
        )
        records = machine.trace.all()
        seen = []
        for row in range(16):
            middle = began + row * ROW + ROW // 2
            record = records[records["t"] >= middle][0]
            seen.append(int(bool(int(record["lines"]) & Line.RST55)))
        assert seen == expected


@pytest.mark.parametrize("keys", ["5", "05", "0A"])
def test_keys_held_down_make_no_events(keys: str) -> None:
    """Once they have been entered nobody sees that they are looked at, until they go."""
    downs = [(20_000 + n * 60_000, "down", key) for n, key in enumerate(keys)]
    machine = machine_with("PUT CTRL, 02H\nPAUSE 30\n", KEYPAD, downs)
    machine.run(t_states=190_000)
    assert machine.board.peek(0x10051) == len(keys)
    assert machine.schedule.next_t == NEVER
    for key in keys:
        machine.board.adjust("pad", "up", key)
    machine.run(t_states=SCAN)
    assert machine.schedule.next_t == NEVER
    machine.board.adjust("pad", "down", keys[0])
    machine.run(t_states=DEBOUNCE + SCAN)
    assert machine.board.peek(0x10051) == len(keys) + 1


def test_keys_of_one_column_are_looked_at_row_by_row() -> None:
    """Two keys on one return line, one let go: the other is still down."""
    keys = [
        (20_000, "down", "1"),
        (80_000, "down", "9"),
        (140_000, "up", "1"),
        (160_000, "down", "1"),
    ]
    assert entries(keys, 0x02)[1:-1] == [0xC1, 0xD1, 0xC1]


# --- strobed input and the FIFO ------------------------------------------------------------


STROBE = """
STROBE  MACRO VALUE
        PUT RL, VALUE
        PUT ENDS, 1         ; CNTL low
        PUT ENDS, 3         ; the rising edge enters
        ENDM
        PUT CTRL, 06H       ; strobed input
"""


def test_strobed_input_fifo_and_irq() -> None:
    """FIFO status: count in D2-D0; IRQ falls with each read and rises if more is there;
    underrun: read of an empty FIFO.  Clear with CF resets it."""
    firmware = (
        STROBE
        + """
        STROBE 12H
        STROBE 34H
        KEEP CTRL
        PUT CTRL, 40H
        KEEP DATA
        KEEP CTRL
        RIM
        ANI 10H
        MOV M, A
        INX H
        KEEP DATA
        RIM
        ANI 10H
        MOV M, A
        INX H
        KEEP CTRL
        IN DATA
        KEEP CTRL
        PUT CTRL, 0C2H
        KEEP CTRL
    """
    )
    assert kept(run(firmware)) == [2, 0x12, 1, 0x10, 0x34, 0, 0, 0x10, 0]


def test_irq_falls_for_each_read() -> None:
    """Interrupt: 'the line goes low with each FIFO read and returns high if there is still
    information', so the RST 7.5 latch takes an edge for each character."""
    firmware = (
        STROBE
        + """
        STROBE 12H
        STROBE 34H
        MVI A, 10H          ; reset the RST 7.5 latch
        SIM
        RIM
        ANI 40H
        MOV M, A
        INX H
        PUT CTRL, 40H
        IN DATA
        RIM
        ANI 40H
        MOV M, A
        INX H
    """
    )
    assert kept(run(firmware, WIRES.replace("RST 5.5", "RST 7.5"))) == [0x00, 0x40]


def test_fifo_full_and_overrun() -> None:
    """FIFO status: F with eight characters, O when a ninth comes, which is lost."""
    firmware = STROBE + "".join(f"STROBE {n}\n" for n in range(0x21, 0x29))
    firmware += "KEEP CTRL\nSTROBE 29H\nKEEP CTRL\nPUT CTRL, 40H\n" + "KEEP DATA\n" * 8
    found = kept(run(firmware + "KEEP CTRL\n"))
    assert found[0] & 0xF8 == 0x08 and found[1] & 0xF8 == 0x28
    assert found[2:] == [*range(0x21, 0x29), 0x20]


def test_sensor_matrix() -> None:
    """Sensor matrix: the return lines go to the RAM row of the scan line; a change raises
    IRQ and stops further writing until the first read without auto increment, or, with it,
    until end interrupt.  S/E shows a closure; 'multiple changes may cause multiple
    interrupts'."""
    firmware = """
        PUT CTRL, 04H       ; encoded scan, sensor matrix
        PUT RL, 0FBH        ; all rows alike
        PAUSE 3
        KEEP CTRL
        PUT RL, 0FFH
        PAUSE 3
        PUT CTRL, 50H       ; read row 0 and on
        KEEP DATA
        KEEP DATA
        RIM
        ANI 10H
        MOV M, A
        INX H
        PUT CTRL, 0E0H      ; end interrupt
        NOP                 ; RIM tells the lines as sampled before it
        RIM
        ANI 10H
        MOV M, A
        INX H
        PAUSE 3             ; the rest of this scan is taken, IRQ comes at its end
        PUT CTRL, 0E0H
        PAUSE 3
        PUT CTRL, 43H       ; row 3, no auto increment
        KEEP CTRL
        KEEP DATA
        RIM
        ANI 10H
        MOV M, A
        INX H
    """
    assert kept(run(firmware)) == [0x40, 0xFB, 0xFB, 0x10, 0, 0x00, 0xFF, 0]


def test_sensors_go_on_after_the_interrupt_line_is_cleared() -> None:
    """Clear with CF resets the interrupt line: what has changed since is found by the scan."""
    firmware = """
        PUT CTRL, 04H
        PUT RL, 0FBH
        PAUSE 3
        PUT RL, 0FFH        ; not written while IRQ is high
        PUT CTRL, 0C2H
        NOP
        RIM
        ANI 10H
        MOV M, A
        INX H
        PAUSE 3
        RIM
        ANI 10H
        MOV M, A
        INX H
        PUT CTRL, 57H       ; row 7, the last to be taken
        KEEP DATA
    """
    assert kept(run(firmware)) == [0, 0x10, 0xFF]


# --- the display ---------------------------------------------------------------------------


def test_display_ram_is_written_and_read_by_auto_increment() -> None:
    """Write and read display RAM: 4-bit address, AI moves it on after each access and the one
    counter serves both; without AI it stays."""
    firmware = """
        PUT CTRL, 08H       ; 16 characters, left entry
        PUT CTRL, 9EH       ; write from 14, AI: it wraps
        PUT DATA, 11H
        PUT DATA, 22H
        PUT DATA, 33H
        PUT CTRL, 7EH       ; read from 14, AI
        KEEP DATA
        KEEP DATA
        KEEP DATA
        PUT CTRL, 85H       ; write at 5, no AI: reads come from there too
        PUT DATA, 44H
        PUT DATA, 55H
        KEEP DATA
        KEEP DATA
    """
    assert kept(run(firmware)) == [0x11, 0x22, 0x33, 0x55, 0x55]


DIGITS = {"0": 0x3F, "1": 0x06, "2": 0x5B, "3": 0x4F, "4": 0x66, "5": 0x6D, "6": 0x7D, "7": 0x07,
          "8": 0x7F, "9": 0x6F}  # fmt: skip
"""Common seven-segment codes, a on bit 0 (common practice, no published source)."""


def writes(text: str) -> str:
    return "".join(f"PUT DATA, {DIGITS[c]}\n" for c in text)


def test_left_and_right_entry() -> None:
    """Left entry (typewriter): address 0 is the left place and the ninth character falls on
    the first again.  Right entry (calculator): each goes to the right end, the others move
    left, the leftmost is lost."""
    left = run("PUT CTRL, 0C0H + 11H\nPAUSE 1\nPUT CTRL, 00H\nPUT CTRL, 90H\n" + writes("123"))
    assert shown(left) == "123     "
    over = run("PUT CTRL, 00H\nPUT CTRL, 90H\n" + writes("123456789"))
    assert shown(over) == "92345678"
    right = run("PUT CTRL, 10H\nPAUSE 1\nPUT CTRL, 90H\n" + writes("123"))
    assert shown(right) == "     123"
    over = run("PUT CTRL, 10H\nPUT CTRL, 90H\nPAUSE 1\n" + writes("123456789"))
    assert shown(over) == "23456789"


def test_right_entry_from_another_address() -> None:
    """Right entry, figure 'enter next at location 5': the places move with each entry, and
    the new one falls where location 5 has moved to."""
    firmware = "PUT CTRL, 10H\nPAUSE 1\nPUT CTRL, 90H\n" + writes("12")
    machine = run(firmware + "PUT CTRL, 95H\n" + writes("34"))
    # By the figure, locations 4 5 6 7 0 1 2 3 stand from left to right after four entries.
    assert shown(machine) == " 34 12  "


def test_inhibit_and_blanking() -> None:
    """Display write inhibit/blanking: IW A keeps bits 7-4, IW B 3-0; BL shows the blank code
    of the last clear, the RAM keeps its bytes."""
    firmware = """
        PUT CTRL, 80H
        PUT DATA, 5AH
        PUT CTRL, 0A8H      ; inhibit A
        PUT DATA, 0C3H
        KEEP_ 80H
        PUT CTRL, 0A4H      ; inhibit B
        PUT DATA, 0E7H
        KEEP_ 80H
        PUT CTRL, 0A3H      ; blank both
        KEEP_ 80H
    """.replace("KEEP_ 80H", "PUT CTRL, 60H\nKEEP DATA")
    machine = run(firmware)
    assert kept(machine) == [0x53, 0xE3, 0xE3]
    assert shown(machine) == " " * 16


def test_clear_takes_160_us() -> None:
    """Clear: codes 0X zeros, 10 20 hexadecimal, 11 ones; the display is unavailable for
    about 160 us, shown as bit 7 of the status, and writes are lost."""
    firmware = """
        PAUSE 1
        PUT CTRL, 90H
        PUT DATA, 5AH
        PUT CTRL, {clear}
        KEEP CTRL
        PUT DATA, 77H
        LXI D, 19           ; 456 T-states
        CALL WAIT
        KEEP CTRL
        PUT CTRL, 60H
        KEEP DATA
    """
    for clear, code in ((0xD0, 0x00), (0xD4, 0x00), (0xD8, 0x20), (0xDC, 0xFF)):
        assert kept(run(firmware.format(clear=clear))) == [0x80, 0x00, code]


def test_outputs_are_scanned_and_blanked_between_digits() -> None:
    """Timing: 480 us of a digit lit, 160 us blank with BD low, the outputs in step with the
    scan lines."""
    board = (
        HEAD
        + """\
lines:
  RST 5.5: kdc.outb0
  RST 6.5: kdc.outa3
  TRAP: kdc.sl0
  INTR: kdc.bd
"""
    )
    firmware = """
        DI
        PAUSE 1
        PUT CTRL, 90H
        PUT DATA, 01H
        PUT DATA, 80H
        PAUSE 4
    """
    machine = machine_with(
        firmware.replace("DI\n", "MVI A, 0FH\nSIM\n"), board.replace("TRAP", "SID")
    )
    machine.run(until=machine.symbols["DONE"])
    records = machine.trace.all()
    records = records[records["t"] > records["t"][-1] - 3 * SCAN]
    lines = records["lines"].astype(int)

    def high(line: Line) -> int:
        return int((lines & line != 0).sum())

    share = high(Line.INTR) / len(lines)
    assert 0.74 < share < 0.76  # 480 of 640 us
    lit = lines[(lines & Line.RST55 != 0)]
    assert len(lit) and not (lit & (Line.SID | Line.RST65)).any() and (lit & Line.INTR).all()
    second = lines[(lines & Line.RST65 != 0)]
    assert len(second) and (second & Line.SID != 0).all() and (second & Line.INTR).all()
