"""Boards and programs that the measures run."""

from __future__ import annotations

from emu85.firmware import assemble
from emu85.machine import Machine

BOARD = """
name: bench
crystal: 6.144 MHz
fill: zeros
memory:
  - {{chip: 2764, name: program, at: 0000-1FFF, waits: {waits}}}
  - {{chip: 6264, name: work, at: 8000-9FFF, waits: {waits}}}
ports:
  - {{device: converter, name: level, at: 20-21, values: [00], waits: {waits}}}
  - {{device: latch, name: latch, at: 30}}
  - {{device: lamps, name: lamps, at: 31}}
"""
"""3.072 MHz; port 20 is answered live by a device in Python, port 21 is published; port 30 is
taken by one, port 31 is only kept."""

WRITE = """
        ORG     0
LOOP:   INR     A
        OUT     {port}
        JMP     LOOP
"""

COMPUTE = """
; Fills a table, sorts it, sums it, and multiplies; for ever.
        ORG     0
        LXI     SP,0A000H
        MVI     C,1
ROUND:  LXI     H,TABLE         ; 32 bytes of a linear congruential sequence
        MVI     B,32
FILL:   MOV     A,C
        ADD     A
        ADD     A
        ADD     C
        ADI     17
        MOV     C,A
        MOV     M,A
        INX     H
        DCR     B
        JNZ     FILL
        PUSH    B
        CALL    SORT
        CALL    SUM
        LHLD    TABLE
        XCHG
        CALL    TIMES
        SHLD    PRODUCT
        POP     B
        JMP     ROUND

SORT:   MVI     B,31            ; exchange neighbours until none are out of order
PASS:   LXI     H,TABLE
        MOV     C,B
PAIR:   MOV     A,M
        INX     H
        CMP     M
        JC      INORDER
        JZ      INORDER
        MOV     D,M
        MOV     M,A
        DCX     H
        MOV     M,D
        INX     H
INORDER:DCR     C
        JNZ     PAIR
        DCR     B
        JNZ     PASS
        RET

SUM:    LXI     H,TABLE         ; 16-bit checksum, rotated after each byte
        LXI     D,0
        MVI     B,32
ADDUP:  MOV     A,E
        ADD     M
        MOV     E,A
        MOV     A,D
        ACI     0
        RLC
        MOV     D,A
        INX     H
        DCR     B
        JNZ     ADDUP
        XCHG
        SHLD    CHECK
        RET

TIMES:  LXI     H,0             ; HL = D times E
        MOV     C,D
        MVI     D,0
        MVI     B,8
SHIFT:  DAD     H
        MOV     A,C
        RLC
        MOV     C,A
        JNC     NOADD
        DAD     D
NOADD:  DCR     B
        JNZ     SHIFT
        RET

        ORG     8000H
TABLE:  DS      32
CHECK:  DS      2
PRODUCT:DS      2
        END
"""

POLL = """
        ORG     0
WAIT:   IN      {port}
        ANI     80H
        JZ      WAIT
        HLT
        END
"""

STOPS = (
    "on MW at 9000-90FF",
    "on MR at 9100",
    "on OF at 1000-1FFF",
    "on OF outside 0000-1FFF",
    "on IOR,IOW",
    "on IOW at 21 after 5",
    "on INA",
    "on MR at 40xx",
    "on MW at hi 91",
    "on OF at 0F00",
    "on MW at 9004 then OF at 0150",
    "on MW at 9000-9EFF data 1B",
    "on IOR at 20 data 3x",
    "on MW outside 8000-9FFF",
    "on read at 9200-92FF with RST 7.5 high",
    "on HALT",
)
"""Sixteen of all kinds; :data:`COMPUTE` does none of these."""

NEAR_MISSES = (
    "on MW at 8000-801F data 0011x0xxB with RST 7.5 high",
    "on OF at 0000-001F data 76",
    "on MR at 8020-8023 with SOD high",
    "on MW at 9Fxx then IOW at 30",
)
"""Stops whose addresses :data:`COMPUTE` visits all the time, and which never hit."""


def machine(source: str, *, waits: int = 0, trace: int = 1_000_000) -> Machine:
    """The bench board with a program on it."""
    made = Machine.from_text(BOARD.format(waits=waits), file="bench.yaml", trace=trace)
    made.load(assemble(source, "bench.asm").image)
    return made
