"""Firmware that computes the CRCs of its own EPROM, on the emulated board."""

from __future__ import annotations

import binascii
import random
import zlib

import pytest

from emu85.board import read_board
from emu85.burn import Subject, Wanted, report, study
from emu85.burn.chips import content, covered
from emu85.firmware import Image, assemble
from emu85.machine import Machine
from tests.burn.bench import BOARD

FIRMWARE = """
SIZE    EQU     800H
CRC16   EQU     8000H           ; results, low byte first
CRC32   EQU     8002H
SUM     EQU     8006H
LEFT    EQU     8010H
        ORG     0
        LXI     SP,8800H
        CALL    DO16
        CALL    DO32
        CALL    DOSUM
        DI
        HLT

; CRC-16/XMODEM: polynomial 1021H, from 0, highest bit first.  DE is the CRC.

DO16:   LXI     H,0
        LXI     D,0
NEXT16: MOV     A,M
        XRA     D
        MOV     D,A
        MVI     C,8
BIT16:  MOV     A,E
        ADD     A
        MOV     E,A
        MOV     A,D
        RAL
        MOV     D,A
        JNC     ZERO16
        MVI     A,10H
        XRA     D
        MOV     D,A
        MVI     A,21H
        XRA     E
        MOV     E,A
ZERO16: DCR     C
        JNZ     BIT16
        INX     H
        MOV     A,H
        CPI     HIGH SIZE
        JNZ     NEXT16
        XCHG
        SHLD    CRC16
        RET

; CRC-32: polynomial EDB88320H, lowest bit first, from and to all ones.  B is highest.

DO32:   LXI     H,0
        LXI     B,0FFFFH
        LXI     D,0FFFFH
NEXT32: MOV     A,M
        XRA     E
        MOV     E,A
        MVI     A,8
        STA     LEFT
BIT32:  ORA     A
        MOV     A,B
        RAR
        MOV     B,A
        MOV     A,C
        RAR
        MOV     C,A
        MOV     A,D
        RAR
        MOV     D,A
        MOV     A,E
        RAR
        MOV     E,A
        JNC     ZERO32
        MOV     A,B
        XRI     0EDH
        MOV     B,A
        MOV     A,C
        XRI     0B8H
        MOV     C,A
        MOV     A,D
        XRI     83H
        MOV     D,A
        MOV     A,E
        XRI     20H
        MOV     E,A
ZERO32: LDA     LEFT
        DCR     A
        STA     LEFT
        JNZ     BIT32
        INX     H
        MOV     A,H
        CPI     HIGH SIZE
        JNZ     NEXT32
        LXI     H,CRC32
        MOV     A,E
        CMA
        MOV     M,A
        INX     H
        MOV     A,D
        CMA
        MOV     M,A
        INX     H
        MOV     A,C
        CMA
        MOV     M,A
        INX     H
        MOV     A,B
        CMA
        MOV     M,A
        RET

; The sum of all bytes, 16 bits.

DOSUM:  LXI     H,0
        LXI     D,0
NEXTS:  MOV     A,M
        ADD     E
        MOV     E,A
        JNC     NOCARRY
        INR     D
NOCARRY:INX     H
        MOV     A,H
        CPI     HIGH SIZE
        JNZ     NEXTS
        XCHG
        SHLD    SUM
        RET
        ORG     200H
"""


def firmware(seed: int, size: int) -> Image:
    """The routines, and random bytes behind them."""
    data = random.Random(seed).randbytes(size)
    lines = [
        "        DB      " + ",".join(f"{byte}" for byte in data[n : n + 16])
        for n in range(0, size, 16)
    ]
    return assemble(FIRMWARE + "\n".join(lines) + "\n", "crc.asm").image


@pytest.mark.parametrize(("seed", "size"), [(1, 16), (2, 0x5F0), (3, 0x600)])
def test_firmware_host_and_libraries_agree(seed: int, size: int) -> None:
    image = firmware(seed, size)
    machine = Machine.from_text(BOARD)
    machine.load(image)
    machine.run(seconds=5)
    assert machine.registers.halted
    on_board = [
        int.from_bytes(machine.memory[low:high], "little")
        for low, high in ((0x8000, 0x8002), (0x8002, 0x8006), (0x8006, 0x8008))
    ]
    chip = machine.memory[0:0x800]
    assert on_board == [binascii.crc_hqx(chip, 0), zlib.crc32(chip), sum(chip) & 0xFFFF]

    description = read_board(BOARD, "bench.yaml")
    (use,) = covered(description, image)
    assert content(use, image, 0xFF).data == chip
    (row,) = report(study(Subject(image, description), Wanted())).chips
    assert row.sums["CRC-16/XMODEM"] == f"{on_board[0]:04X}"
    assert row.sums["CRC-32"] == f"{on_board[1]:08X}"
    assert row.sums["sum of the bytes, 16 bits"] == f"{on_board[2]:04X}"
