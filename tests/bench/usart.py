"""Serial lines at 9600 baud, full in both directions, and whether all of it came."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from emu85.board.shelf import find_board
from emu85.firmware import assemble
from emu85.machine import Machine
from tests.bench.clock import best
from tests.bench.report import Row

BOARD = """
name: line
crystal: 6.144 MHz
memory:
  - {{rom: 2K, at: 0000}}
  - {{ram: 1K, at: 8000}}
ports:
  - {{device: {device}, name: line, at: 20-{last}, {option}terminal: {{baud: 9600}}}}
  - {{device: 8253, name: timer, at: 40-43}}
wired:
  - {{device: oscillator, name: clock, rate: 1.536 MHz}}
lines:
  timer.clk0: clock.out
  {wires}
"""
USART = BOARD.format(
    device="8251A",
    last=21,
    option="",
    wires="line.txc: timer.out0\n  line.rxc: timer.out0\n  RST 6.5: line.rxrdy",
)
UART = BOARD.format(device=16550, last=27, option="xin: 1.8432 MHz, ", wires="RST 6.5: line.intrpt")

HEAD = """
        ORG     0
        LXI     SP,8400H
        MVI     A,16H           ; counter 0: 1.536 MHz / 10
        OUT     43H
        MVI     A,10
        OUT     40H
        JMP     MAIN
        ORG     34H             ; RST 6.5
        IN      20H
        OUT     20H
        EI
        RET
MAIN:
"""
SET_USART = (
    HEAD
    + """
        MVI     A,4EH
        OUT     21H
        MVI     A,37H
        OUT     21H
"""
)
SET_UART = (
    HEAD
    + """
        MVI     A,83H
        OUT     23H
        MVI     A,12            ; 1.8432 MHz / 16 / 12
        OUT     20H
        XRA     A
        OUT     21H
        MVI     A,3
        OUT     23H
        MVI     A,1             ; an interrupt for each character
        OUT     21H
"""
)
POLL = """
LOOP:   IN      {status}
        ANI     {ready}
        JZ      LOOP
        IN      20H
        OUT     20H
        JMP     LOOP
        END
"""
INTERRUPT = """
        MVI     A,0DH
        SIM
        EI
LOOP:   INX     H
        JMP     LOOP
        END
"""
BACKPLANE = """
        ORG     0
        JMP     MAIN
        ORG     104H            ; the CALL of IR1
        PUSH    PSW
        IN      00H
        OUT     00H
        MVI     A,20H           ; end of interrupt
        OUT     08H
        POP     PSW
        EI
        RET
MAIN:   LXI     SP,0FFF0H
        MVI     A,16H           ; counter 0: 1.536 MHz / 10
        OUT     07H
        MVI     A,10
        OUT     04H
        MVI     A,4EH
        OUT     01H
        MVI     A,37H
        OUT     01H
        MVI     A,16H           ; calls four apart from 0100 on
        OUT     08H
        MVI     A,1
        OUT     09H
        MVI     A,0FDH          ; IR1 only
        OUT     09H
        EI
LOOP:   INX     H
        JMP     LOOP
        END
"""


class Case(NamedTuple):
    """A board, its serial end, and firmware that sends back each character."""

    what: str
    board: str
    program: str
    line: str = "line"


CASES = (
    Case(
        "8251A at 9600 baud both ways, polled",
        USART,
        SET_USART + POLL.format(status="21H", ready=2),
    ),
    Case("8251A at 9600 baud both ways, by interrupts", USART, SET_USART + INTERRUPT),
    Case(
        "16550 at 9600 baud both ways, polled", UART, SET_UART + POLL.format(status="25H", ready=1)
    ),
    Case("16550 at 9600 baud both ways, by interrupts", UART, SET_UART + INTERRUPT),
    Case(
        "gantry's 8251A both ways, through the 8259A",
        find_board("gantry").read_text("utf-8"),
        BACKPLANE,
        "usart",
    ),
)
_SECONDS = 5
"""Of board time in a run."""
_SENT = bytes(range(256)) * 80
"""More than all runs have time for."""


def usart() -> Iterator[Row]:
    """Firmware that sends back each character; nothing may be lost or changed."""
    for case in CASES:
        yield Row(case.what, echoing(case), "x", 20)


def echoing(case: Case, seconds: float = _SECONDS, runs: int = 3) -> float:
    """Board time through wall time while the line is full both ways.

    Raises:
        RuntimeError: a character was lost or changed.
    """
    machine = Machine.from_text(case.board, file=str(find_board("gantry")))
    machine.load(assemble(case.program, "line.asm").image)
    machine.run(seconds=0.01)
    line = machine.board.serial_ends[case.line]
    line.send(_SENT)
    machine.run(seconds=0.1)
    fastest = best(lambda: machine.run(seconds=seconds), runs)
    came = bytes(line.received)
    if came != _SENT[: len(came)] or len(came) < runs * seconds * 955:
        raise RuntimeError("characters were lost")
    return seconds / fastest
