"""RTS/CTS handshake of a terminal with a device, from firmware."""

from __future__ import annotations

import pytest

from emu85.firmware import assemble
from emu85.machine import Machine

BOARD = """
name: slow
crystal: 12.288 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - device: 8251A
    name: usart
    at: 20-21
    terminal: {baud: 38400, format: 8N1, handshake: HOW}
  - device: 16550
    name: uart
    at: 30-37
    xin: 1.8432 MHz
    terminal: {baud: 38400, format: 8N1, handshake: HOW}
wired:
  - {device: oscillator, name: clock, rate: 614.4 kHz}
lines:
  usart.txc: clock.out
  usart.rxc: clock.out
"""
# Once a character is there RTS goes high for 256 turns of 14 T-states, more than two
# characters of 1600, and only then is it taken: one more may begin meanwhile at most.
USART = """
        MVI A, 4EH
        OUT 21H
        LXI H, 8000H
NEXT:   MVI A, 37H      ; RTS
        OUT 21H
WAIT:   IN 21H
        ANI 2
        JZ WAIT
        MVI A, 17H      ; no RTS
        OUT 21H
        IN 20H
        MOV M, A
        INX H
        MVI B, 0
DELAY:  DCR B
        JNZ DELAY
        IN 21H          ; what was begun before RTS went high
        ANI 2
        JZ NEXT
        IN 20H
        MOV M, A
        INX H
        JMP NEXT
"""
UART = """
        MVI A, 83H
        OUT 33H
        MVI A, 3
        OUT 30H
        MVI A, 0
        OUT 31H
        MVI A, 3
        OUT 33H
        LXI H, 8000H
NEXT:   MVI A, 2        ; RTS
        OUT 34H
WAIT:   IN 35H
        ANI 1
        JZ WAIT
        MVI A, 0        ; no RTS
        OUT 34H
        IN 30H
        MOV M, A
        INX H
        MVI B, 0
DELAY:  DCR B
        JNZ DELAY
        IN 35H
        ANI 1
        JZ NEXT
        IN 30H
        MOV M, A
        INX H
        JMP NEXT
"""
QUIET = """
        MVI A, 4EH
        OUT 21H
        MVI A, 17H      ; receives, and RTS stays high
        OUT 21H
HERE:   JMP HERE
"""
TEXT = b"The tide turns at nine."


def machine(how: str, source: str) -> Machine:
    made = Machine.from_text(BOARD.replace("HOW", how), trace=1000)
    made.load(assemble(source, "slow.asm").image)
    made.run(t_states=1000)
    return made


@pytest.mark.parametrize(("end", "source"), [("usart", USART), ("uart", UART)])
def test_slow_firmware_loses_nothing_with_a_handshake(end: str, source: str) -> None:
    made = machine("rts-cts", source)
    made.board.serial_ends[end].send(TEXT)
    made.run(t_states=len(TEXT) * 8000)
    assert bytes(made.memory[0x8000 + n] for n in range(len(TEXT))) == TEXT
    assert made.findings.noted == []


@pytest.mark.parametrize(("end", "source"), [("usart", USART), ("uart", UART)])
def test_it_loses_some_without(end: str, source: str) -> None:
    made = machine("none", source)
    made.board.serial_ends[end].send(TEXT)
    made.run(t_states=len(TEXT) * 8000)
    assert [one.where for one in made.findings.noted] == [end]


def test_nothing_begins_while_rts_is_high() -> None:
    made = machine("rts-cts", QUIET)
    end = made.board.serial_ends["usart"]
    end.send(TEXT)
    end.send_break()
    made.run(t_states=100_000)
    assert end.pending == len(TEXT) + 1 and made.findings.noted == []
    assert str(end.format) == "38400 baud, 8N1, RTS/CTS"


def test_what_has_begun_is_sent_to_its_end() -> None:
    """RTS goes high 3000 T-states after it went low, in the second character of 1600."""
    source = QUIET.replace("17H", "37H").replace(
        "HERE:", "MVI B, 214\nWAIT: DCR B\n JNZ WAIT\n MVI A, 17H\n OUT 21H\nHERE:"
    )
    made = Machine.from_text(BOARD.replace("HOW", "rts-cts"), trace=1000)
    made.load(assemble(source, "slow.asm").image)
    end = made.board.serial_ends["usart"]
    end.send(TEXT)
    made.run(t_states=50_000)
    assert end.pending == len(TEXT) - 2
