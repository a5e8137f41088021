"""Faults put into a program one at a time: each is found, by its own check, and placed.

What is expected was worked out by hand from the source lines below.  A fault that cannot
come alone names what comes with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

import pytest

from emu85.burn import Limits, Result, Stored, Wanted
from emu85.burn.chips import part_named
from emu85.burn.sums import SUMS
from emu85.firmware import Segment
from tests.burn.bench import HERE, LAST, ROUTINES, examined, notes, program, results

Changes = tuple[tuple[str, str], ...]
FAULT, LOOK = Result.FAULT, Result.LOOK


@dataclass(frozen=True)
class Seed:
    """One fault.

    Attributes:
        check, result: what must find it, and how.
        note: a part of what must be told.
        program, board: the changes that are the fault.
        others: checks that find something too, because the fault shows there as well.
    """

    check: str
    note: str
    program: Changes = ()
    board: Changes = ()
    wanted: Wanted = field(default_factory=Wanted)
    result: Result = FAULT
    others: frozenset[str] = frozenset()
    milliseconds: int = 20


def here(code: str) -> Changes:
    return ((HERE, code.strip()),)


def after(code: str) -> Changes:
    return ((LAST, code.strip("\n")),)


def unlikely(code: str) -> Changes:
    """Code that the flow reaches, but not the run: the switches are set to 5A."""
    return here(f"IN 10H\n ORA A\n JNZ MAIN\n {code}")


def wired(line: str) -> Changes:
    return (("  RST 7.5: tick.out", f"  RST 7.5: tick.out\n  {line}"),)


def fitted(section: str, chips: str) -> Changes:
    return ((section, f"{chips}\n{section}"),)


def jamming(what: str, request: str = "key.out") -> Changes:
    """A circuit that jams an RST or a CALL on INTR."""
    return (
        *wired(f"INTR: jam.intr\n  jam.request: {request}"),
        (
            "  - {device: key, name: key}",
            f"  - {{device: key, name: key}}\n  - {{device: vector, name: jam, {what}}}",
        ),
    )


UNSAVING = ((ROUTINES, "JAMMED: IN 10H\n EI\n RET\n;; ROUTINES"),)
NO_RUN = 0
"""Milliseconds; where the fault would make the run go anywhere."""
BY_SWITCHES = "IN 10H\n MOV L,A\n "
"""HL then points at xx5A, which only a run can tell."""

SENDER = """
        DI
        MVI     H,4
CHAR:   MVI     A,0C0H
        SIM
        LXI     D,700
REST:   DCX     D
        MOV     A,D
        ORA     E
        JNZ     REST
        MVI     C,5             ; 55H: space and mark in turn, start and stop bit too
BITS:   MVI     A,40H
        SIM
        MVI     B,61
SPACE:  DCR     B
        JNZ     SPACE
        MVI     A,0C0H
        SIM
        MVI     B,61
MARK:   DCR     B
        JNZ     MARK
        DCR     C
        JNZ     BITS
        DCR     H
        JNZ     CHAR
        EI
"""

SEEDS = {
    # --- the image and its chips
    "a byte where no chip is": Seed(
        "in-rom",
        "2000, bench.asm:35: 1 byte of the image where the board has no chip",
        after(" ORG 2000H\n DB 1"),
    ),
    "bytes in RAM": Seed(
        "in-rom",
        "8100, bench.asm:35: 3 bytes of the image where the board has RAM (work)",
        after(" ORG 8100H\n DB 1,2,3"),
    ),
    "two chips at the image": Seed(
        "alone",
        "0700, bench.asm:35: 2 bytes of the image where program + twin answer at once",
        after(" ORG 700H\n DB 1,2"),
        fitted("ports:", "  - {chip: 2716, name: twin, at: 0700-07FF}"),
    ),
    "more bytes than the chip has": Seed(
        "fits",
        "the image gives 55 bytes for program, a chip of 2K: 1 byte otherwise than before",
        after(" ORG 7F0H\n DB 2\n ORG 0FF0H\n DB 1"),
        (
            ("name: program, at: 0000-07FF", "name: program, at: 0000-0FFF"),
            ("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", ""),
        ),
    ),
    "bytes beyond the chip that would go into it all the same": Seed(
        "fits",
        "0F00, bench.asm:35: 2 bytes of the image, from 0F00 on, would go into program, a chip "
        "of 2K, by a mirror",
        after(" ORG 0F00H\n DB 1,2"),
        (
            ("name: program, at: 0000-07FF", "name: program, at: 0000-0FFF"),
            ("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", ""),
        ),
        result=LOOK,
    ),
    "another chip than the board's": Seed(
        "chip", "2764 (8K) is not the program chip", wanted=Wanted(part=part_named("2764"))
    ),
    "too small a chip": Seed(
        "chip",
        "2716 (2K) is smaller than the program chip of the board, 2732 of 4K",
        board=(
            ("{chip: 2716, name: program, at: 0000-07FF}", "{chip: 2732, name: program, at: 0}"),
            ("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", ""),
        ),
        wanted=Wanted(part=part_named("2716")),
    ),
    "nothing but FF for a chip": Seed(
        "content", "every byte for the spare chip is FF", after(" ORG 800H\n DB 0FFH,0FFH")
    ),
    "a smaller chip read twice over": Seed(
        "repeats",
        "both halves for spare are alike",
        after(" ORG 800H\n REPT 1024\n DB 12H,34H\n ENDM"),
        result=LOOK,
    ),
    "a stored sum that is wrong": Seed(
        "stored-sum",
        "but 1234 is stored",
        after(" ORG 7FEH\n DW 1234H"),
        wanted=Wanted(stored=(Stored(SUMS["sum-16"], 0x7FE),)),
    ),
    "a sum that is not the expected one": Seed(
        "expected-sum", "but 12345678 is expected", wanted=Wanted(expected={"crc-32": 0x12345678})
    ),
    # --- vectors
    "a blank reset vector": Seed(
        "reset",
        "0000: the image leaves the reset vector blank",
        (("        ORG     0\n        JMP     COLD\n", ""),),
        milliseconds=NO_RUN,
    ),
    "TRAP wired and its vector blank": Seed(
        "restarts", "0024: TRAP can come, but its vector is blank", board=wired("TRAP: key.out")
    ),
    "RST 6.5 let through and its vector blank": Seed(
        "restarts",
        "0034: RST 6.5 can come, but its vector is blank",
        (("MVI     A,0BH", "MVI     A,09H"),),
        wired("RST 6.5: key.out"),
    ),
    "RST 3 used and its vector blank": Seed(
        "restarts", "RST 3 is used, but 0018 is blank", unlikely("RST 3")
    ),
    "INTR without an answer": Seed(
        "acknowledge",
        "the floating bus gives RST 7, and 0038 is blank",
        board=wired("INTR: key.out"),
    ),
    # --- control
    "a jump to where no chip is": Seed(
        "nowhere", "jumps to 4000, where the board has no chip", unlikely("JMP 4000H")
    ),
    "a jump into blank EPROM": Seed(
        "blank", "jumps to 0500, where the EPROM is left blank", unlikely("JMP 500H")
    ),
    "running off the end": Seed(
        "blank",
        "0080 TAIL, bench.asm:37: goes on to 0082, where the EPROM is left blank",
        (*after("TAIL: MVI A,1"), *unlikely("JMP TAIL")),
    ),
    "an instruction cut off by the end": Seed(
        "blank", "goes on to 0081, where", (*after("TAIL: DB 0C3H"), *unlikely("JMP TAIL"))
    ),
    "a call to a chip left blank": Seed("blank", "calls to 0900, where", unlikely("CALL 900H")),
    "data after a CALL that returns to it": Seed(
        "nowhere", "jumps to 6F6E, where", unlikely("CALL WORK\n DB 0C3H,'no'")
    ),
    "a table entry that leads to blank EPROM": Seed(
        "blank", "jumps by HL to 0600, where", unlikely("LHLD TEXT+1\n LXI H,600H\n PCHL")
    ),
    "a jump to RAM that holds no programs": Seed(
        "code-in-ram",
        "jumps to 8100, RAM that the board does not allow code in",
        unlikely("JMP 8100H"),
    ),
    "a jump into an instruction": Seed(
        "overlap",
        "an instruction at 0062 and one at 0061 share bytes, from 005E",
        here("IN 10H\n ORA A\n JZ INTO+1\nINTO: LXI B,0"),
    ),
    "an opcode left out of the manuals": Seed(
        "opcodes", "ARHL (opcode 10) is not in Intel's manuals", here("ARHL"), result=LOOK
    ),
    "an opcode left out of the manuals where only an unused vector leads": Seed(
        "opcodes",
        "DSUB (opcode 08) is not in Intel's manuals",
        ((ROUTINES, " ORG 34H\n PUSH H\n DB 8\n POP H\n EI\n RET\n ORG 100H\n;; ROUTINES"),),
        result=LOOK,
    ),
    "a jump into an instruction where only an unused vector leads": Seed(
        "overlap",
        "an instruction at 0056 and one at 0054 share bytes",
        ((ROUTINES, " ORG 34H\n PUSH H\n JMP COLD+6\n ORG 100H\n;; ROUTINES"),),
        result=LOOK,
    ),
    "a return to the pushed flags": Seed(
        "returns",
        "LOST+3, bench.asm:37: returns to what PUSH PSW has left on the stack",
        (*unlikely("CALL LOST"), (ROUTINES, "LOST: PUSH PSW\n MVI A,1\n RET")),
    ),
    "a return with nothing called": Seed(
        "returns", "returns, but nothing has been called or pushed", unlikely("RET")
    ),
    "a return to 0000, which was pushed": Seed(
        "returns",
        "LOST+3, bench.asm:38: returns to 0000, which was on the stack in place of an address",
        (*unlikely("LXI H,0\n CALL LOST"), (ROUTINES, "LOST: PUSH H\n IN 10H\n RET\n;; ROUTINES")),
        result=LOOK,
    ),
    "a way out of a routine that leaves a pair on the stack": Seed(
        "returns",
        "007D OUT1, bench.asm:37: returns, but on one way to 007D more is left on the stack",
        (
            *here("CALL EARLY"),
            (
                ROUTINES,
                "EARLY: PUSH B\n IN 10H\n ORA A\n JZ OUT1\n POP B\nOUT1: RET\n;; ROUTINES",
            ),
        ),
        result=LOOK,
    ),
    # --- memory and ports
    "a loop that stores into ROM": Seed(
        "rom-stores",
        "stores at 0700, which is ROM (program)",
        unlikely("MVI B,9\n LXI H,700H\nCLEAR: MVI M,0\n INX H\n DCR B\n JNZ CLEAR"),
        result=LOOK,
    ),
    "one caller of several that has a routine store into ROM": Seed(
        "rom-stores",
        "stores at 0700, which is ROM (program)",
        (
            *unlikely("LXI H,8100H\n CALL STORE\n LXI H,700H\n CALL STORE"),
            (ROUTINES, "STORE: MOV M,A\n RET\n;; ROUTINES"),
        ),
        result=LOOK,
    ),
    "the second of two callers that has a routine store into ROM": Seed(
        "rom-stores",
        "stores at 0700, which is ROM (program)",
        (
            *unlikely("LXI H,8100H\n CALL STORE\n LXI H,700H\n CALL STORE"),
            (ROUTINES, "STORE: XRA A\n INX D\n MOV M,A\n RET\n;; ROUTINES"),
        ),
        result=LOOK,
    ),
    "a loop that reads where no chip is": Seed(
        "empty-reads",
        "reads at A000, where no chip is",
        unlikely("LXI H,0A000H\nSUM: ADD M\n INX H\n INR L\n JNZ SUM"),
        result=LOOK,
    ),
    "STA to ROM": Seed(
        "rom-stores", "stores at 0700, which is ROM (program)", unlikely("STA 700H")
    ),
    "SHLD across the end of RAM": Seed(
        "lost-stores", "stores at 8800, where no chip is", unlikely("SHLD 87FFH")
    ),
    "MOV M with HL in ROM": Seed(
        "rom-stores",
        "stores at 0801, which is ROM (spare)",
        unlikely("LXI H,800H\n INX H\n MOV M,A"),
    ),
    "INR M with HL in ROM": Seed(
        "rom-stores", "stores at 0010, which is ROM", unlikely("MVI H,0\n MVI L,10H\n INR M")
    ),
    "STAX to nowhere": Seed("lost-stores", "stores at A000", unlikely("LXI D,0A000H\n STAX D")),
    "LDA from nowhere": Seed(
        "empty-reads", "reads at C123, where no chip is", unlikely("LDA 0C123H")
    ),
    "IN from a port without a chip": Seed(
        "port-reads", "IN from port 77, where no chip is", unlikely("IN 77H")
    ),
    "IN from a port that is only written": Seed(
        "port-reads",
        "IN from port 30, which lamps does not answer",
        unlikely("IN 30H"),
        result=LOOK,
    ),
    "OUT to a port without a chip": Seed(
        "port-writes", "OUT to port 78, where no chip is", unlikely("OUT 78H")
    ),
    "OUT to a port that is only read": Seed(
        "port-writes",
        "OUT to port 10, which bank does not take",
        unlikely("OUT 10H"),
        result=LOOK,
    ),
    "IN where two chips answer": Seed(
        "port-clashes",
        "IN from port 12, where twin + other answer at once",
        unlikely("IN 12H"),
        fitted(
            "wired:",
            "  - {device: switches, name: twin, at: 12}\n"
            "  - {device: switches, name: other, at: 12, shared: yes}",
        ),
    ),
    # --- the stack
    "a CALL before SP is loaded": Seed(
        "stack-set",
        "0050 COLD, bench.asm:13: uses the stack before SP has been loaded",
        (("COLD:   LXI     SP,8800H", "COLD:   CALL WORK\n LXI SP,8800H"),),
        milliseconds=NO_RUN,
    ),
    "EI before SP is loaded": Seed(
        "stack-before-ei",
        "bench.asm:18: enables interrupts before SP has been loaded",
        (("COLD:   LXI     SP,8800H", "COLD: NOP"), (HERE, "LXI SP,8800H")),
    ),
    "a stack where no RAM is": Seed(
        "stack-place",
        "pushes at FFFF, which is no RAM (no chip)",
        (("LXI     SP,8800H", "LXI SP,0"),),
        milliseconds=NO_RUN,
    ),
    "a stack outside the board's region": Seed(
        "stack-place",
        "pushes at 80FF, outside the board's stack",
        (("LXI     SP,8800H", "LXI SP,8100H"),),
        milliseconds=NO_RUN,
    ),
    "a POP where nothing was pushed": Seed(
        "stack-place",
        "pops at 8800, where no chip answers",
        ((HERE, "POP H"),),
        milliseconds=NO_RUN,
    ),
    "a register pushed and not popped before the return": Seed(
        "returns",
        "returns to what BC held before: it was pushed and not popped",
        ((ROUTINES, "SAVES: PUSH B\n MVI A,1\nNOP0: RET\n;; ROUTINES"), (HERE, "CALL SAVES")),
        milliseconds=NO_RUN,
        result=LOOK,
    ),
    "a return on a condition past what was pushed": Seed(
        "returns",
        "EARLY+6",
        (
            (ROUTINES, "EARLY: LHLD 8000H\n PUSH H\n IN 10H\n RZ\n POP H\n RET\n;; ROUTINES"),
            (HERE, "CALL EARLY"),
        ),
        milliseconds=NO_RUN,
        result=LOOK,
    ),
    "an interrupt routine that leaves a register on the stack": Seed(
        "returns",
        "returns to what HL held before",
        (("        PUSH    PSW\n", "        PUSH PSW\n PUSH H\n"), ("POP     PSW\n", "NOP\n")),
        milliseconds=NO_RUN,
    ),
    "a jump by way of a mirror into the middle of an instruction": Seed(
        "overlap",
        "share bytes",
        here("FAR: LXI H,0\n IN 10H\n ORA A\n JZ 1000H+FAR+1"),
        (("at: 0000-07FF", "at: 0000-07FF, ignores: A12"),),
    ),
    "code that runs off the end of the EPROM into its mirror": Seed(
        "past-end",
        "goes on past the end of program, to 0800, which is 0000 once more",
        (*here("FAR: IN 10H\n ORA A\n JZ OFF"), (LAST, " ORG 7FFH\nOFF: NOP")),
        (
            ("at: 0000-07FF", "at: 0000-07FF, ignores: A11"),
            ("  - {chip: 2716, name: spare, at: 0800-0FFF}\n", ""),
        ),
    ),
    # --- interrupt routines
    "a routine that does not save what it changes": Seed(
        "handler-keeps",
        "003C, bench.asm:5: RST 7.5 changes A without having saved it",
        (("        PUSH    PSW\n", ""), ("        POP     PSW\n", "")),
        result=LOOK,
    ),
    "a routine with branches that does not save what it changes": Seed(
        "handler-keeps",
        "003C, bench.asm:5: RST 7.5 changes A without having saved it",
        (
            ("        PUSH    PSW\n", ""),
            ("        POP     PSW\n", ""),
            ("        INR     A\n", "        ORA A\n JZ OVER\n INR A\nOVER: NOP\n"),
        ),
        result=LOOK,
    ),
    "a routine whose mask comes from RAM and that does not save what it changes": Seed(
        "handler-keeps",
        "003C, bench.asm:5: RST 7.5 changes A without having saved it",
        (
            ("        SIM\n", "        STA 8010H\n LDA 8010H\n SIM\n"),
            ("        PUSH    PSW\n", ""),
            ("        POP     PSW\n", ""),
        ),
        result=LOOK,
    ),
    "a routine that calls one which changes what it does not save": Seed(
        "handler-keeps",
        "RST 7.5 changes H, L without having saved it",
        (
            ("        INR     A\n", "        CALL OTHER\n"),
            (ROUTINES, "OTHER: LXI H,0\n RET\n;; ROUTINES"),
        ),
        result=LOOK,
    ),
    "a routine that restores registers in the order of saving": Seed(
        "handler-keeps",
        "RST 7.5 returns with B, C, H, L not as it was",
        (
            ("        PUSH    PSW\n", "        PUSH PSW\n PUSH H\n PUSH B\n"),
            ("        POP     PSW\n", "        POP H\n POP B\n POP PSW\n"),
        ),
        result=LOOK,
    ),
    "a routine that leaves a register as it loaded it": Seed(
        "handler-keeps",
        "RST 7.5 returns with H, L not as it was",
        (
            ("        PUSH    PSW\n", "        PUSH PSW\n PUSH H\n LXI H,1\n"),
            ("        POP     PSW\n", "        POP PSW\n POP PSW\n"),
        ),
        result=LOOK,
    ),
    "a routine whose call does not enable interrupts": Seed(
        "handler-enables",
        "RST 7.5 returns with interrupts disabled",
        (
            ("        EI\n        RET\n        ORG     50H", "        CALL OTHER\n RET\n ORG 50H"),
            (ROUTINES, "OTHER: NOP\n RET\n;; ROUTINES"),
        ),
        result=LOOK,
        others=frozenset({"run-goes-on"}),
    ),
    "a routine that stores a pair that it has changed": Seed(
        "handler-keeps",
        "RST 7.5 changes H, L without having saved it",
        (
            ("        PUSH    PSW\n", "        PUSH PSW\n LHLD 8102H\n INX H\n SHLD 8102H\n"),
            (
                "        XRA     A\n        STA     8000H",
                "        LXI H,0\n SHLD 8102H\n XRA A\n STA 8000H",
            ),
        ),
        result=LOOK,
    ),
    "a routine that enables interrupts on one of its ways": Seed(
        "handler-enables",
        "RST 7.5 returns with interrupts disabled, on a way",
        (
            ("        INR     A\n", "        INR A\n JZ OVER\n"),
            (ROUTINES, "OVER: POP PSW\n RET\n;; ROUTINES"),
        ),
        result=LOOK,
        milliseconds=NO_RUN,
    ),
    "a routine of INTR by the floating bus that saves nothing": Seed(
        "handler-keeps",
        "0038, bench.asm:5: RST 7 changes A, F without having saved it",
        (
            (
                "        ORG     3CH             ; RST 7.5\n",
                " ORG 38H\n XRA A\n JMP AT3C\n ORG 3CH\nAT3C:\n",
            ),
        ),
        wired("INTR: key.out"),
        result=LOOK,
        milliseconds=NO_RUN,
    ),
    "an RST that the board jams, with nothing there": Seed(
        "acknowledge",
        "INTR can come, jam gives RST 5, and 0028 is blank",
        board=jamming("rst: 5"),
    ),
    "a CALL that the board jams to where no chip is": Seed(
        "acknowledge",
        "INTR can come, jam gives CALL C000, and C000 is no chip",
        board=jamming("call: C000"),
    ),
    "a routine of INTR that nobody asks for in the run and that saves nothing": Seed(
        "handler-keeps",
        "0072 JAMMED, bench.asm:32: INTR changes A without having saved it",
        UNSAVING,
        jamming("call: 0072"),
        result=LOOK,
        milliseconds=NO_RUN,
    ),
    "a routine of INTR that the run has come to and that saves nothing": Seed(
        "handler-keeps",
        "0072 JAMMED, bench.asm:32: INTR changes A without having saved it",
        UNSAVING,
        jamming("call: 0072", "tick.out"),
        result=LOOK,
    ),
    "a routine that leaves interrupts disabled": Seed(
        "handler-enables",
        "RST 7.5 returns with interrupts disabled",
        (("        POP     PSW\n        EI", "        POP     PSW"),),
        result=LOOK,
        milliseconds=NO_RUN,
    ),
    # --- what only a run shows: addresses that nothing tells before
    "RAM on a battery read before anything was kept there": Seed(
        "run-unwritten",
        "read of RAM never written: 8400, 1 time, first at T-state 65; its battery was new",
        here("LDA 8400H\n CPI 5AH\n JZ MAIN\n MVI A,5AH\n STA 8400H"),
        (
            (
                "  - {chip: 6116, name: work, at: 8000-87FF}",
                "  - {chip: 6116, name: work, at: 8000-87FF, battery: yes}",
            ),
        ),
        result=LOOK,
    ),
    "blank EPROM executed": Seed(
        "run-code",
        "0600: execution outside code: 0600",
        here("LXI H,5\n SHLD 8100H\n LDA 8100H\n INR A\n MOV H,A\n MVI L,0\n PCHL"),
        others=frozenset(
            {
                "blank",
                "restarts",
                "stack-place",
                "run-stack",
                "run-rom-writes",
                "run-lost-writes",
                "run-unwritten",
                "run-floating",
            }
        ),
    ),
    "a read from nowhere, run": Seed(
        "run-floating",
        "read where no chip answers: A05A",
        here(f"{BY_SWITCHES}MVI H,0A0H\n MOV A,M"),
    ),
    "a read where two chips answer, run": Seed(
        "run-contention",
        "two chips answered at once: B05A",
        here(f"{BY_SWITCHES}MVI H,0B0H\n MOV M,A\n MOV A,M"),
        fitted(
            "ports:",
            "  - {ram: 256, name: left, at: B000-B0FF}\n  - {ram: 256, name: right, at: B000-B0FF}",
        ),
    ),
    "a write to ROM, run": Seed(
        "run-rom-writes", "write to ROM: 055A", here(f"{BY_SWITCHES}MVI H,5\n MOV M,A")
    ),
    "a write to nowhere, run": Seed(
        "run-lost-writes",
        "write where no chip listens: A05A, 1 time",
        here(f"{BY_SWITCHES}MVI H,0A0H\n MOV M,A"),
    ),
    "RAM read before it is written": Seed(
        "run-unwritten", "read of RAM never written: 8111", here("LDA 8111H")
    ),
    "code that is none, run": Seed(
        "run-code",
        "execution outside code: 815A",
        here(f"{BY_SWITCHES}MVI H,81H\n MVI M,0C9H\n LXI D,MAIN\n PUSH D\n PCHL"),
    ),
    "a stack that grows out of its region": Seed(
        "run-stack",
        "stack outside its region: 86FF and 1 more, 2 times",
        here("DI\n MVI B,129\nMORE: PUSH B\n DCR B\n JNZ MORE\n LXI SP,8800H\n EI"),
    ),
    "a stack that grows for ever": Seed(
        "run-stack",
        "stack outside its region: 86FF and 19 more, 20 times",
        here("DI\n MVI B,138\nMORE: PUSH B\n DCR B\n JNZ MORE\n LXI SP,8800H\n EI"),
    ),
    "outputs that fight on a wire": Seed(
        "run-wires",
        "one.pa0 and two.pa0",
        here("MVI A,80H\n OUT 43H\n OUT 47H\n MVI A,1\n OUT 40H"),
        (
            *fitted(
                "wired:",
                "  - {device: 8255A, name: one, at: 40-43}\n"
                "  - {device: 8255A, name: two, at: 44-47}",
            ),
            *wired("one.pa0: two.pa0"),
        ),
    ),
    "characters sent too slowly": Seed(
        # 7 + 61 x 14 - 3 + 7 + 4 = 869 T-states of space and 14 more of mark; from the first
        # edge to the last there are five of the one and four of the other, 875.2 on average.
        # 1200 baud are 833.3.
        "run-serial",
        "bits from the board are 5.0% too long: 875.2 T-states",
        here(SENDER),
        fitted("wired:", "serial: {baud: 1200}"),
        milliseconds=150,
    ),
    "a halt for good": Seed(
        "run-goes-on",
        "bench.asm:23: the CPU has halted, and no interrupt",
        (("        HLT\n", "        DI\n        HLT\n"),),
        result=LOOK,
    ),
    "less executed than asked for": Seed(
        "run-coverage",
        "but 100 % are asked for",
        unlikely("NOP"),
        wanted=Wanted(limits=Limits(coverage=Fraction(100))),
    ),
    "an interrupt that waits longer than allowed": Seed(
        "run-wait",
        "RST 7.5 waited",
        (
            (
                "MAIN:   CALL    WORK",
                "MAIN: DI\n MVI B,143\nLATE: DCR B\n JNZ LATE\n EI\n CALL WORK",
            ),
        ),
        wanted=Wanted(limits=Limits(wait=1000)),
    ),
    "requests that fall before anybody has served them": Seed(
        "run-wait",
        "RST 6.5 asked for ",
        here("MVI A,0DH\n SIM\nLATE: DI\n MVI B,200\nLONG: DCR B\n JNZ LONG\n JMP LATE"),
        (
            (
                "  - {device: key, name: key}",
                "  - {device: key, name: key}\n"
                "  - {device: tick, name: slow, rate: 100 Hz, pulse: 2 ms}",
            ),
            *wired("RST 6.5: slow.out"),
        ),
        wanted=Wanted(limits=Limits(wait=1500)),
        others=frozenset({"restarts"}),
        milliseconds=25,
    ),
    "less of the stack left than asked for": Seed(
        "run-stack-left",
        "87FC: the stack in 8700-87FF went down to 87FC: 252 bytes left, 253 asked for",
        wanted=Wanted(limits=Limits(left=253)),
    ),
}


def test_the_program_without_a_fault_is_fit() -> None:
    found = examined(program())
    assert results(found) == {}
    assert found.is_fit
    assert found.verdict == "fit to burn"


SAVE = "SAVE:   XTHL\n PUSH D\n PUSH B\n PUSH PSW\n"
RESTORED = "        POP PSW\n POP B\n POP D\n POP H\n"
CORRECT: dict[str, Changes] = {
    "a routine that takes a constant off the stack": (
        *here("CALL OUTER"),
        (
            ROUTINES,
            "OUTER: LXI D,5678H\n PUSH D\n CALL TAKE\n RET\n"
            "TAKE: POP B\n POP H\n PUSH B\n RET\n;; ROUTINES",
        ),
    ),
    "a routine that takes two pairs off the stack, one of them its caller's caller's": (
        *here("PUSH H\n CALL OUTER"),
        (
            ROUTINES,
            "OUTER: POP B\n PUSH D\n CALL TAKE\n PUSH B\n RET\n"
            "TAKE: POP D\n POP H\n POP H\n PUSH D\n RET\n;; ROUTINES",
        ),
    ),
    "a handler that counts by INX": (
        (
            "        PUSH    PSW\n        LDA     8000H\n        INR     A\n        STA     8000H\n"
            "        POP     PSW\n",
            " PUSH H\n LHLD 8000H\n INX H\n SHLD 8000H\n POP H\n",
        ),
        ("        XRA     A\n        STA     8000H", "        LXI H,0\n SHLD 8000H"),
    ),
    "a handler that saves a pair in RAM": (
        ("        PUSH    PSW\n", "        SHLD 8100H\n PUSH PSW\n LXI H,0\n"),
        ("        POP     PSW\n", "        POP PSW\n LHLD 8100H\n"),
    ),
    "a handler whose registers a routine saves": (
        ("        PUSH    PSW\n", "        CALL SAVE\n"),
        ("        POP     PSW\n", RESTORED),
        (ROUTINES, f"{SAVE} PCHL\n;; ROUTINES"),
    ),
    "a routine whose registers another saves": (
        ("WORK:   IN      10H\n", "WORK:   CALL SAVE\n IN 10H\n"),
        ("        RZ\n", "        JNZ ON\n" + RESTORED + " RET\nON: NOP\n"),
        (ROUTINES, f"{SAVE} PUSH H\n LXI H,1\n RET\n;; ROUTINES"),
    ),
}


@pytest.mark.parametrize("name", CORRECT)
def test_what_is_right_is_no_fault(name: str) -> None:
    found = examined(program(*CORRECT[name]))
    assert results(found) == {}


@pytest.mark.parametrize("name", SEEDS)
def test_a_fault_is_found(name: str) -> None:
    seed = SEEDS[name]
    found = examined(
        program(*seed.program), *seed.board, wanted=seed.wanted, milliseconds=seed.milliseconds
    )
    told = notes(found, seed.check)
    assert any(seed.note in line for line in told), told
    assert results(found)[seed.check] is seed.result
    assert set(results(found)) - seed.others == {seed.check}
    assert found.is_fit == (seed.result is LOOK)


PADDED = [
    name
    for name, seed in SEEDS.items()
    if seed.check not in ("in-rom", "alone", "fits", "content", "repeats", "stored-sum", "chip")
    and name != "an instruction cut off by the end"
]
"""Faults that are none of where the image lies; padding completes the instruction cut off."""


@pytest.mark.parametrize("name", PADDED)
def test_a_fault_is_found_in_the_file_for_the_programmer(name: str) -> None:
    """All bytes of the chip, FF where nothing is: what is blank stays blank."""
    seed = SEEDS[name]
    image = program(*seed.program)
    size = 0x800
    if max(segment.end for segment in image.segments) > size:
        pytest.skip("parts of it lie beyond the EPROM")
    data = bytearray(b"\xff" * size)
    for segment in image.segments:
        data[segment.start : segment.end] = segment.data
    padded = replace(image, segments=(Segment(0, bytes(data)),))
    given = [
        examined(one, *seed.board, wanted=seed.wanted, milliseconds=seed.milliseconds)
        for one in (image, padded)
    ]
    assert results(given[1]) == results(given[0])
    assert notes(given[1], seed.check) == notes(given[0], seed.check)
