"""Boards whose firmware sends back what it gets, with no way to lose a byte."""

from __future__ import annotations

from collections.abc import Callable

from emu85.firmware import assemble
from emu85.links import Links
from emu85.machine import Machine

# A character lasts 1600 T-states, so the poll loop keeps up with it.
USART = """
name: echo
crystal: 12.288 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - {device: 8251A, name: usart, at: 20-21, terminal: {baud: 38400, format: 8N1}}
wired:
  - {device: oscillator, name: clock, rate: 614.4 kHz}
lines:
  usart.txc: clock.out
  usart.rxc: clock.out
serial: {baud: 1200, format: 8N1}
"""

ECHO = """
        ORG 0
        MVI A, 4EH
        OUT 21H
        MVI A, 37H
        OUT 21H
LOOP:   IN 21H
        ANI 2
        JZ LOOP
        IN 20H
        MOV B, A
WAIT:   IN 21H
        ANI 1
        JZ WAIT
        MOV A, B
        OUT 20H
        JMP LOOP
"""

TALK = """
        ORG 0
        MVI A, 4EH
        OUT 21H
        MVI A, 37H
        OUT 21H
LOOP:   IN 21H
        ANI 1
        JZ LOOP
        MOV A, L
        XRA H
        OUT 20H
        INX H
        JMP LOOP
"""

TWO_USARTS = USART.replace(
    "wired:",
    "  - {device: 8251A, name: tape, at: 30-31, terminal: {baud: 38400, format: 8N1}}\nwired:",
).replace("serial:", "  tape.txc: clock.out\n  tape.rxc: clock.out\nserial:")

ECHO_BOTH = """
        ORG 0
        MVI A, 4EH
        OUT 21H
        OUT 31H
        MVI A, 37H
        OUT 21H
        OUT 31H
LOOP:   IN 21H
        ANI 3
        CPI 3
        JNZ TAPE
        IN 20H
        OUT 20H
TAPE:   IN 31H
        ANI 3
        CPI 3
        JNZ LOOP
        IN 30H
        OUT 30H
        JMP LOOP
"""

SLICE = 300_000
"""T-states between two looks outside: 2343 characters of 38400 baud a second."""


def machine(firmware: str) -> Machine:
    made = Machine.from_text(USART, trace=1000)
    made.load(assemble(firmware, "echo.asm").image)
    return made


def talked(count: int) -> bytes:
    """What TALK sends, counted independently of it: low byte XOR high byte of 0, 1, 2, …"""
    return bytes((n & 0xFF) ^ (n >> 8 & 0xFF) for n in range(count))


def serve(made: Machine, links: Links, until: Callable[[], bool], slices: int = 4000) -> None:
    """Run in slices, as a console does, until a test has seen what it wants."""
    for _ in range(slices):
        if until():
            return
        made.run(t_states=SLICE)
        links.pump()
    raise AssertionError("it took too long")
