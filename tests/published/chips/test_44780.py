"""The HD44780 kind of display driven by firmware over the bus.

Source: HD44780U data sheet; the section each check rests on is named beside it.  All
values from memory.  The CPU's clock is 2 MHz, so a T-state is half a microsecond.
"""

from __future__ import annotations

import pytest

from emu85.board.chips.lcd44780 import Lcd, PortLcd
from emu85.bus.cycles import Cycle
from emu85.machine import Machine

from .bench import BEGIN, MACROS, head, kept, load, run_to

BUS = (
    head("4 MHz")
    + """\
ports:
  - {device: 44780, name: lcd, at: 70-71, size: 16x2}
"""
)

PINS = (
    head("4 MHz")
    + """\
ports:
  - {device: 8255A, name: ppi, at: 20-23}
wired:
  - {device: port-44780, name: lcd, size: 20x4}
lines:
  lcd.d0-d7: ppi.pa0-pa7
  lcd.rs: ppi.pc0
  lcd.rw: ppi.pc1
  lcd.e: ppi.pc2
"""
)

START = (
    MACROS
    + BEGIN
    + """\
IR      EQU 70H
DR      EQU 71H
        JMP BEGIN
WAIT:   DCX D               ; 12 us for each count in DE
        MOV A, D
        ORA E
        JNZ WAIT
        RET
PAUSE   MACRO US
        LXI D, US / 12 + 1
        CALL WAIT
        ENDM
CMD     MACRO VALUE         ; an instruction, then until the busy flag falls
        LOCAL BUSY
        PUT IR, VALUE
BUSY:   IN IR
        RLC
        JC BUSY
        ENDM
SHOW    MACRO VALUE
        LOCAL BUSY
        PUT DR, VALUE
BUSY:   IN IR
        RLC
        JC BUSY
        ENDM
BEGIN:
"""
)

INIT = """
        PAUSE 15000         ; initializing by instruction, 8-bit interface
        PUT IR, 30H
        PAUSE 4100
        PUT IR, 30H
        PAUSE 100
        PUT IR, 30H
        PAUSE 40
        CMD 38H             ; two lines
        CMD 08H
        CMD 01H
        CMD 06H
        CMD 0CH
"""


def run(firmware: str, board: str = BUS) -> Machine:
    """A machine that has run the firmware to its DONE."""
    machine = Machine.from_text(board, trace=60_000)
    run_to(machine, load(machine, START, firmware), t_states=600_000)
    return machine


def rows(machine: Machine) -> list[str]:
    device = machine.board.devices["lcd"]
    assert isinstance(device, Lcd | PortLcd)
    return device.rows


def puts(text: str) -> str:
    return "".join(f"SHOW {ord(c)}\n" for c in text)


def test_reset_by_the_internal_circuit() -> None:
    """Reset function: busy for 10 ms after power on; then the display is off, one line,
    cleared, and the cursor moves right."""
    firmware = """
        PAUSE 9800
        KEEP IR
        PAUSE 250
        KEEP IR
        CMD 0CH
    """ + puts("HELLO")
    machine = run(firmware + "KEEP IR\n")
    assert kept(machine) == [0x80, 0x00, 0x05]
    assert rows(machine) == ["HELLO           ", " " * 16]


def test_initializing_by_instruction_and_two_lines() -> None:
    """Initializing by instruction; DDRAM addresses 00-27 and 40-67; 27 is followed by 40 and
    67 by 00, and back when the cursor moves left."""
    firmware = INIT + puts("LEFT") + "CMD 0C0H\n" + puts("RIGHT")
    firmware += "CMD 80H + 27H\nSHOW 41H\nKEEP IR\nCMD 80H + 67H\nSHOW 42H\nKEEP IR\n"
    firmware += "CMD 04H\nSHOW 43H\nKEEP IR\nCMD 80H + 40H\nSHOW 44H\nKEEP IR\n"
    machine = run(firmware)
    assert kept(machine) == [0x40, 0x00, 0x67, 0x27]
    assert rows(machine) == ["CEFT            ", "DIGHT           "]


@pytest.mark.parametrize(
    ("rs", "value", "us"),
    [(0, 0x01, 1520), (0, 0x02, 1520), (0, 0x06, 37), (0, 0x14, 37), (0, 0x80, 37), (1, 0x41, 41)],
)
def test_execution_times(rs: int, value: int, us: int) -> None:
    """Instruction table at fosc 270 kHz: 37 us, 1.52 ms for clear and return home, data 37 us
    and 4 us more."""
    machine = run(INIT + f"PUT {0x70 + rs}, {value}\nPOLL: IN IR\nRLC\nJC POLL\n")
    records = machine.trace.all()
    port = records["address"] & 0xFF
    written = [int(r["t"]) for r in records[(records["type"] == Cycle.IOW)]][-1]
    reads = records[(records["type"] == Cycle.IOR) & (port == 0x70) & (records["t"] > written)]
    busy = [int(r["t"]) for r in reads if int(r["data"]) & 0x80]
    free = [int(r["t"]) for r in reads if not int(r["data"]) & 0x80]
    # The write is taken as its cycle ends, 3 T-states after it began.
    assert busy[-1] < written + 3 + 2 * us <= free[0]


def test_what_is_written_while_busy_is_lost() -> None:
    """Busy flag: the next instruction must be written after it has fallen."""
    machine = run(INIT + "PUT IR, 01H\nPUT DR, 41H\nPAUSE 1600\n" + puts("B"))
    assert rows(machine)[0] == "B" + " " * 15


def test_data_is_read_back() -> None:
    """Read data from DDRAM or CGRAM: by the address set last, the counter moves on."""
    firmware = (
        INIT
        + puts("XYZ")
        + """
        CMD 81H
        KEEP DR
        PAUSE 50
        KEEP DR
        PAUSE 50
        KEEP IR
        CMD 40H + 8
        SHOW 15H
        SHOW 0AH
        CMD 40H + 8
        KEEP DR
        PAUSE 50
        KEEP DR
    """
    )
    assert kept(run(firmware)) == [ord("Y"), ord("Z"), 0x03, 0x15, 0x0A]


def test_entry_mode_and_shifts() -> None:
    """Entry mode S shifts the display with each write; cursor/display shift moves it alone,
    both lines at once, round within 40 places; return home undoes it."""
    left = run(INIT + puts("ABC") + "CMD 0C0H\n" + puts("DEF") + "CMD 18H\n")
    assert rows(left) == ["BC              ", "EF              "]
    right = run(INIT + puts("ABC") + "CMD 1CH\nCMD 1CH\n")
    assert rows(right)[0] == "  ABC           "
    home = run(INIT + puts("ABC") + "CMD 1CH\nCMD 02H\n" + puts("Z"))
    assert rows(home)[0] == "ZBC             "
    # The usual way to have text run in from the right: the cursor stays where it is seen.
    running = run(INIT + "CMD 80H + 16\nCMD 07H\n" + puts("ABC"))
    assert rows(running)[0] == "             ABC"
    moved = run(INIT + puts("ABC") + "CMD 10H\nCMD 10H\n" + puts("z") + "CMD 14H\n" + puts("y"))
    assert rows(moved)[0] == "AzCy            "


def test_characters_of_ones_own() -> None:
    """CGRAM: eight characters of eight rows, seen as codes 00-07 and again as 08-0F."""
    solid = "CMD 50H\n" + "SHOW 1FH\n" * 8 + "CMD 48H\n" + "SHOW 0AH\n" * 8
    machine = run(INIT + solid + "CMD 80H\nSHOW 2\nSHOW 1\nSHOW 0AH\nSHOW 0\nSHOW 5CH\nSHOW 7EH\n")
    assert rows(machine)[0][:6] == "█①█ ¥→"


FOUR_BIT = """
        PUT 23H, 80H        ; all ports out
        PAUSE 15000
        PUT 20H, 3FH        ; initializing by instruction, 4-bit interface
        CALL PULSE
        PAUSE 4100
        CALL PULSE
        PAUSE 100
        CALL PULSE
        PAUSE 40
        PUT 20H, 2FH
        CALL PULSE
        PAUSE 40
        MVI B, 28H
        CALL IRW
        MVI B, 0CH
        CALL IRW
        MVI B, 01H
        CALL IRW
        JMP GO
PULSE:  MVI A, 05H          ; E high, then low
        OUT 23H
        MVI A, 04H
        OUT 23H
        RET
IRW:    PUT 23H, 00H        ; RS low
        JMP BOTH
DRW:    PUT 23H, 01H
BOTH:   MOV A, B
        OUT 20H
        CALL PULSE
        MOV A, B
        RLC
        RLC
        RLC
        RLC
        OUT 20H
        CALL PULSE
UNTIL:  CALL BUSY           ; the status is read until D7 is 0
        RLC
        JC UNTIL
        RET
BUSY:   PUT 23H, 90H        ; port A in: clears port C, so RS and E are low
        PUT 23H, 03H        ; R/W high
NIBBLE: PUT 23H, 05H
        IN 20H
        ANI 0F0H
        MOV C, A
        PUT 23H, 04H
        PUT 23H, 05H
        IN 20H
        RRC
        RRC
        RRC
        RRC
        ANI 0FH
        ORA C
        MOV C, A
        PUT 23H, 04H
        PUT 23H, 80H
        MOV A, C
        RET
GO:
"""


def test_four_bit_interface_on_port_pins() -> None:
    """Interface, 4 bits: D7-D4 carry the upper nibble first, for the busy flag as well; the
    20x4 module has its rows at 00, 40, 14 and 54."""
    text = ""
    for address, word in ((0x80, "ONE"), (0xC0, "TWO"), (0x94, "THREE"), (0xD4, "FOUR")):
        text += f"MVI B, {address}\nCALL IRW\n"
        text += "".join(f"MVI B, {ord(c)}\nCALL DRW\n" for c in word)
    machine = run(FOUR_BIT + text + "CALL BUSY\nMOV M, A\nINX H\n", PINS)
    assert rows(machine) == [word.ljust(20) for word in ("ONE", "TWO", "THREE", "FOUR")]
    assert kept(machine) == [0x58]
