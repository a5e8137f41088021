"""Programs that run away because something was written where a return address stood."""

from __future__ import annotations

from random import Random

_FRAME = """        ORG     0000H
        JMP     START

        ORG     0100H
START:  LXI     SP,{top:04X}H
        LXI     H,{buffer:04X}H
        MVI     B,{plain}
        CALL    FILL
{calls}
        CALL    {broken}
        HLT

; fill B bytes from HL on with 55
FILL:   MVI     M,55H
        INX     H
        DCR     B
        JNZ     FILL
        RET

; the sum of the buffer's bytes in A
SUM:    PUSH    B
        PUSH    H
        LXI     H,{buffer:04X}H
        MVI     B,{plain}
        XRA     A
ADD1:   ADD     M
        INX     H
        DCR     B
        JNZ     ADD1
        POP     H
        POP     B
        RET

; DE times two, twice
FOUR:   PUSH    H
        XCHG
        DAD     H
        DAD     H
        XCHG
        POP     H
        RET

{routine}
        END
"""
_TOO_LONG = """; mark the last bytes of the buffer
MARK:   LXI     H,{last:04X}H
        MVI     B,{long}
MARK1:  MVI     M,0{byte:02X}H
        INX     H
        DCR     B
        JNZ     MARK1
        RET"""
_LEFT_ON_STACK = """; A and B exchanged if A is the smaller
ORDER:  PUSH    PSW
        CMP     B
        JNC     ORDER1
        MOV     C,A
        MOV     A,B
        MOV     B,C
        RET
ORDER1: POP     PSW
        RET"""
_POINTER = """; note the sum behind the buffer
NOTE:   CALL    SUM
        MOV     L,A
        MVI     H,0
        SHLD    {pointer:04X}H
        RET"""
_EXCHANGE = """; HL on by a buffer's address, for the caller
TAKE:   LXI     D,{buffer:04X}H
        DAD     D
        XTHL
        RET"""
_CALLS = ("        CALL    SUM", "        CALL    FOUR")
_NO_CODE = (0x22, 0x3A, 0x4C, 0x56)
"""High bytes of addresses at which the EPROM's mirrors have no code."""


def runaway(random: Random) -> str:
    """The source of a program that ends in the erased part of the EPROM or in RAM."""
    top = random.randrange(0x87C0, 0x87F8, 2)
    buffer = top - 2 * random.randrange(14, 20)
    plain = random.randrange(5, top - buffer - 10)
    template = random.choice((_TOO_LONG, _LEFT_ON_STACK, _POINTER, _EXCHANGE))
    values = {
        "top": top,
        "buffer": buffer,
        "plain": plain,
        "last": top - 6,
        "long": random.choice((5, 6)),
        "byte": random.randrange(0xC0, 0xF0),
        "pointer": top - 2,
    }
    routine = template.format(**values)
    broken = routine.splitlines()[1].partition(":")[0]
    lines = [random.choice(_CALLS) for _ in range(random.randrange(1, 4))]
    if template is _LEFT_ON_STACK:
        small = random.choice(_NO_CODE)
        lines.append(f"        MVI     A,{small}")
        lines.append(f"        MVI     B,{random.randrange(small + 1, 0x80)}")
    return _FRAME.format(calls="\n".join(lines), broken=broken, routine=routine, **values)
