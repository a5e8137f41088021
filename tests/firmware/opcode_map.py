"""The opcode map, written out by hand.

Source: Intel MCS-80/85 Family User's Manual, October 1979, instruction set in
order of opcode (value from memory); the ten unspecified opcodes after Dehnhardt
& Sorensen, Electronics, 18 January 1979 (value from memory).  Not taken from the
program's own table.
"""

from __future__ import annotations

_ROWS = """
NOP;LXI B,w;STAX B;INX B;INR B;DCR B;MVI B,b;RLC;DSUB;DAD B;LDAX B;DCX B;INR C;DCR C;MVI C,b;RRC
ARHL;LXI D,w;STAX D;INX D;INR D;DCR D;MVI D,b;RAL;RDEL;DAD D;LDAX D;DCX D;INR E;DCR E;MVI E,b;RAR
RIM;LXI H,w;SHLD w;INX H;INR H;DCR H;MVI H,b;DAA;LDHI b;DAD H;LHLD w;DCX H;INR L;DCR L;MVI L,b;CMA
SIM;LXI SP,w;STA w;INX SP;INR M;DCR M;MVI M,b;STC;LDSI b;DAD SP;LDA w;DCX SP;INR A;DCR A;MVI A,b;CMC
MOV B,B;MOV B,C;MOV B,D;MOV B,E;MOV B,H;MOV B,L;MOV B,M;MOV B,A
MOV C,B;MOV C,C;MOV C,D;MOV C,E;MOV C,H;MOV C,L;MOV C,M;MOV C,A
MOV D,B;MOV D,C;MOV D,D;MOV D,E;MOV D,H;MOV D,L;MOV D,M;MOV D,A
MOV E,B;MOV E,C;MOV E,D;MOV E,E;MOV E,H;MOV E,L;MOV E,M;MOV E,A
MOV H,B;MOV H,C;MOV H,D;MOV H,E;MOV H,H;MOV H,L;MOV H,M;MOV H,A
MOV L,B;MOV L,C;MOV L,D;MOV L,E;MOV L,H;MOV L,L;MOV L,M;MOV L,A
MOV M,B;MOV M,C;MOV M,D;MOV M,E;MOV M,H;MOV M,L;HLT;MOV M,A
MOV A,B;MOV A,C;MOV A,D;MOV A,E;MOV A,H;MOV A,L;MOV A,M;MOV A,A
ADD B;ADD C;ADD D;ADD E;ADD H;ADD L;ADD M;ADD A;ADC B;ADC C;ADC D;ADC E;ADC H;ADC L;ADC M;ADC A
SUB B;SUB C;SUB D;SUB E;SUB H;SUB L;SUB M;SUB A;SBB B;SBB C;SBB D;SBB E;SBB H;SBB L;SBB M;SBB A
ANA B;ANA C;ANA D;ANA E;ANA H;ANA L;ANA M;ANA A;XRA B;XRA C;XRA D;XRA E;XRA H;XRA L;XRA M;XRA A
ORA B;ORA C;ORA D;ORA E;ORA H;ORA L;ORA M;ORA A;CMP B;CMP C;CMP D;CMP E;CMP H;CMP L;CMP M;CMP A
RNZ;POP B;JNZ w;JMP w;CNZ w;PUSH B;ADI b;RST 0;RZ;RET;JZ w;RSTV;CZ w;CALL w;ACI b;RST 1
RNC;POP D;JNC w;OUT b;CNC w;PUSH D;SUI b;RST 2;RC;SHLX;JC w;IN b;CC w;JNK w;SBI b;RST 3
RPO;POP H;JPO w;XTHL;CPO w;PUSH H;ANI b;RST 4;RPE;PCHL;JPE w;XCHG;CPE w;LHLX;XRI b;RST 5
RP;POP PSW;JP w;DI;CP w;PUSH PSW;ORI b;RST 6;RM;SPHL;JM w;EI;CM w;JK w;CPI b;RST 7
"""

FORMS: tuple[str, ...] = tuple(_ROWS.strip().replace("\n", ";").split(";"))
"""Form of each opcode: ``b`` stands for a byte, ``w`` for a word."""


def written(opcode: int, byte: str, word: str) -> str:
    """The instruction with its data filled in."""
    mnemonic, _, operands = FORMS[opcode].partition(" ")
    filled = [{"b": byte, "w": word}.get(o, o) for o in operands.split(",")]
    return f"{mnemonic} {','.join(filled)}".rstrip()


def encoded(opcode: int, byte: int, word: int) -> bytes:
    """Its bytes."""
    form = FORMS[opcode]
    if form.endswith("w"):
        return bytes([opcode, word & 0xFF, word >> 8])
    return bytes([opcode, byte]) if form.endswith("b") else bytes([opcode])
