"""A small board for rehearsals, its firmware, and rehearsals written by tests."""

from __future__ import annotations

from pathlib import Path

from emu85.rehearsal import Verdict, rehearse

BOARD = """
name: bench
crystal: 12.288 MHz
pull-ups: FF
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000, code: yes}
ports:
  - {device: 8251A, name: usart, at: 20-21, terminal: {baud: 38400, format: 8N1}}
  - {device: 8251A, name: other, at: 22-23, terminal: {baud: 38400, format: 8N1}}
  - {device: latch, name: control, at: 30, readable: yes}
  - {device: switches, name: switches, at: 31, value: 5A}
wired:
  - {device: oscillator, name: clock, rate: 614.4 kHz}
  - {device: key, name: key, hold: 1 ms}
lines:
  usart.txc: clock.out
  usart.rxc: clock.out
  other.txc: clock.out
  other.rxc: clock.out
  RST 7.5: key.out
"""
"""A T-state is 1/6.144 us; a character of the USART takes 1600."""

FIRMWARE = """
        ORG 0
        LXI SP,8400H            ; 10
        LXI H,8000H             ; 10
        MVI M,3EH               ; 10
        INX H                   ; 6
        MVI M,05H               ; 10: 46 T-states up to here, and 3 of reset
COUNTED:
        MVI A,4EH
        OUT 21H
        MVI A,37H
        OUT 21H
        MVI A,0A5H
        OUT 30H
        LXI D,READY
SAY:    LDAX D
        ORA A
        JZ LOOP
        CALL PUT
        INX D
        JMP SAY
LOOP:   IN 21H
        ANI 2
        JZ LOOP
        IN 20H
        CPI '.'
        JZ REST
        CALL PUT
        JMP LOOP
REST:   HLT
PUT:    MOV B,A
WAIT:   IN 21H
        ANI 1
        JZ WAIT
        MOV A,B
        OUT 20H
        RET
READY:  DB 'ready',13,10,'> ',0
        END
"""
"""Says that it is ready, then sends back what it gets; a full stop halts it."""

HEADING = "rehearsal: a test\nboard: bench.yaml\nfirmware: bench.asm\n"


def lay_out(folder: Path, firmware: str = FIRMWARE) -> None:
    """Put the board's file and its firmware into a folder."""
    (folder / "bench.yaml").write_text(BOARD)
    (folder / "bench.asm").write_text(firmware)


def write(folder: Path, body: str, heading: str = HEADING) -> Path:
    """A rehearsal in a file beside the board's."""
    file = folder / "test.rehearsal"
    file.write_text(heading + body)
    return file


def performed(folder: Path, body: str, heading: str = HEADING) -> Verdict:
    """The verdict on some lines."""
    if not (folder / "bench.asm").exists():
        lay_out(folder)
    return rehearse(write(folder, body, heading))
