"""The enumerations of the core as plain integers, which the compiler takes as constants.

Prefixes tell apart what would else have one name: ``AT_`` address kinds, ``X_``
exits, ``S_`` columns of the table of stop steps.  Names of registers and of
``State`` members are cells of the state vector; operations have their own names.
"""

from __future__ import annotations

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import (
    UNALTERED,
    UNTOUCHED_BITS,
    UNTOUCHED_SHIFT,
    WAIT_MASK,
    WAIT_SHIFT,
    WATCH_SHIFT,
    Exit,
    FindingField,
    FindingKind,
    MapBit,
    State,
    StopField,
)
from emu85.cpu.rows import LINES_SHIFT, ROWS_MAX, TYPE_SHIFT, WRITE_BITS
from emu85.isa import Addr, Op, Reg
from emu85.isa.acknowledge import VECTORS

# Enumeration members as plain integers, which the compiler takes as constants.
R = int(State.REGISTERS)
B, C, D, E = (R + int(r) for r in (Reg.B, Reg.C, Reg.D, Reg.E))
H, L, TMP, A, F = (R + int(r) for r in (Reg.H, Reg.L, Reg.TMP, Reg.A, Reg.F))
W, Z = R + int(Reg.W), R + int(Reg.Z)
PCH, PCL, SP_PAIR = int(Reg.PCH), int(Reg.PCL), int(Reg.SP)

T, LIMIT, BUDGET = int(State.T), int(State.LIMIT), int(State.BUDGET)
ROW, PC, SP = int(State.ROW), int(State.PC), int(State.SP)
HALTED, LINES, PREVIOUS = int(State.HALTED), int(State.LINES), int(State.PREVIOUS)
IE, SHADOW, MASKS = int(State.IE), int(State.SHADOW), int(State.MASKS)
LATCH75, TRAP_LATCH = int(State.LATCH75), int(State.TRAP_LATCH)
IE_BEFORE_TRAP, TRAP_TAKEN = int(State.IE_BEFORE_TRAP), int(State.TRAP_TAKEN)
VECTOR, ANSWER = int(State.VECTOR), int(State.ANSWER)
POSITION, TOTAL = int(State.POSITION), int(State.TOTAL)
INSTRUCTION, PULL_UP = int(State.INSTRUCTION), int(State.PULL_UP)
WANT_BOUNDARY = int(State.WANT_BOUNDARY)
STOPS, LINE_STOPS = int(State.STOPS), int(State.LINE_STOPS)
EXIT_INDEX, EXIT_DATA = int(State.EXIT_INDEX), int(State.EXIT_DATA)
EXIT_TYPE, EXIT_T = int(State.EXIT_TYPE), int(State.EXIT_T)
HOLD_SINCE, LAST_START = int(State.HOLD_SINCE), int(State.LAST_START)
MASTER, MASTER_T, MOVED = int(State.MASTER), int(State.MASTER_T), int(State.MOVED)
SKIP, ASKED_LINES = int(State.SKIP_HOLD_BEFORE), int(State.ASKED_LINES)

AT_PC, AT_PC_HELD = int(Addr.PC), int(Addr.PC_HELD)
AT_BC, AT_DE, AT_HL = int(Addr.BC), int(Addr.DE), int(Addr.HL)
AT_PORT = int(Addr.PORT)
AT_WZ, AT_WZ_UP = int(Addr.WZ), int(Addr.WZ_UP)
AT_SP, AT_SP_UP, AT_SP_DOWN = int(Addr.SP), int(Addr.SP_UP), int(Addr.SP_DOWN)

READ_EXIT, WRITE_EXIT = int(MapBit.READ_EXIT), int(MapBit.WRITE_EXIT)
NO_READER, NO_WRITER = int(MapBit.NO_READER), int(MapBit.NO_WRITER)
ROM, CONTENTION = int(MapBit.ROM), int(MapBit.CONTENTION)
NOT_CODE, NOT_STACK = int(MapBit.NOT_CODE), int(MapBit.NOT_STACK)
HOLD_BEFORE = int(MapBit.HOLD_BEFORE)
LOST_BITS = int(MapBit.ROM | MapBit.NO_WRITER)
WRITE_SLOW = int(WRITE_BITS | MapBit.NOT_STACK)
UNTOUCHED = UNTOUCHED_BITS
TAKEN_AS_IT_WAS = UNALTERED | WRITE_EXIT
WATCH_ALL = ((1 << len(Cycle)) - 1) << WATCH_SHIFT

X_LIMIT, X_BUDGET, X_READ = int(Exit.LIMIT), int(Exit.BUDGET), int(Exit.READ)
X_WRITE, X_STOP, X_IDLE = int(Exit.WRITE), int(Exit.STOP), int(Exit.IDLE)
X_SOD, X_BOUNDARY, X_HLDA = int(Exit.SOD), int(Exit.BOUNDARY), int(Exit.HLDA)

TRAP, RST75, RST65 = int(Line.TRAP), int(Line.RST75), int(Line.RST65)
RST55, INTR, SID = int(Line.RST55), int(Line.INTR), int(Line.SID)
HOLD, SOD, HLDA = int(Line.HOLD), int(Line.SOD), int(Line.HLDA)
READY, FLOATING, FINDING = int(Line.READY), int(Line.FLOATING), int(Line.FINDING)

OF, MR, MW, INA = int(Cycle.OF), int(Cycle.MR), int(Cycle.MW), int(Cycle.INA)
IOR, IOW = int(Cycle.IOR), int(Cycle.IOW)
OF_RECORD = OF << TYPE_SHIFT | int(Line.S1 | Line.S0) << LINES_SHIFT
WAITS = WAIT_MASK << WAIT_SHIFT
FETCH_SLOW = (
    WAITS
    | (1 << (WATCH_SHIFT + OF))
    | (1 << (UNTOUCHED_SHIFT + OF))
    | (READ_EXIT | NO_READER | CONTENTION | NOT_CODE | HOLD_BEFORE)
)

VECTOR_TRAP, VECTOR75, VECTOR65, VECTOR55 = VECTORS.values()

COUNT, FIRST_T = int(FindingField.COUNT), int(FindingField.FIRST_T)
LAST_T, FIRST_PC = int(FindingField.LAST_T), int(FindingField.FIRST_PC)
FLOATING_READ, CONTENDED = int(FindingKind.FLOATING_READ), int(FindingKind.CONTENTION)
ROM_WRITE, LOST_WRITE = int(FindingKind.ROM_WRITE), int(FindingKind.LOST_WRITE)
UNWRITTEN_READ = int(FindingKind.UNWRITTEN_READ)
OUTSIDE_CODE, STACK = int(FindingKind.NOT_CODE), int(FindingKind.STACK)

S_ACTIVE, S_TYPES = int(StopField.ACTIVE), int(StopField.TYPES)
S_LOW, S_HIGH, S_OUTSIDE = (
    int(StopField.LOW),
    int(StopField.HIGH),
    int(StopField.OUTSIDE),
)
S_AMASK, S_AVALUE = int(StopField.ADDRESS_MASK), int(StopField.ADDRESS_VALUE)
S_DMASK, S_DVALUE = int(StopField.DATA_MASK), int(StopField.DATA_VALUE)
S_DLOW, S_DHIGH = int(StopField.DATA_LOW), int(StopField.DATA_HIGH)
S_LMASK, S_LVALUE = int(StopField.LINE_MASK), int(StopField.LINE_VALUE)
S_EDGES, S_PASSES, S_SEEN = (
    int(StopField.EDGE_MASK),
    int(StopField.PASSES),
    int(StopField.SEEN),
)
S_NEXT, S_FIRST = int(StopField.NEXT), int(StopField.FIRST)
S_LINES_ONLY, S_FINDING = int(StopField.LINES_ONLY), int(StopField.FINDING)
S_HITS, S_LAST_T, S_QUIET = int(StopField.HITS), int(StopField.LAST_T), int(StopField.QUIET)
JUST_ACTIVATED = 2

# Masks that keep an index from being taken for one that counts from the end.
ROW_MASK = ROWS_MAX - 1
PLACE_MASK = (1 << 32) - 1
LEVELS = int(Line.FLOATING) - 1

# Operation numbers, by name, for the switch below.
MOVE, ADD, ADC, SUB, SBB = (int(Op[n]) for n in ("MOVE", "ADD", "ADC", "SUB", "SBB"))
ANA, XRA, ORA, CMP = (int(Op[n]) for n in ("ANA", "XRA", "ORA", "CMP"))
INR, DCR, INX, DCX, DAD = (int(Op[n]) for n in ("INR", "DCR", "INX", "DCX", "DAD"))
RLC, RRC, RAL, RAR, DAA = (int(Op[n]) for n in ("RLC", "RRC", "RAL", "RAR", "DAA"))
CMA, STC, CMC, JUMP = (int(Op[n]) for n in ("CMA", "STC", "CMC", "JUMP"))
RESTART, TO_VECTOR = int(Op.RESTART), int(Op.VECTOR)
HL_TO_PC, HL_TO_SP, WZ_TO_SP = int(Op.HL_TO_PC), int(Op.HL_TO_SP), int(Op.WZ_TO_SP)
WZ_TO_HL, DE_TO_WZ, XCHG = int(Op.WZ_TO_HL), int(Op.DE_TO_WZ), int(Op.XCHG)
EI, DI, RIM, SIM, HALT = (int(Op[n]) for n in ("EI", "DI", "RIM", "SIM", "HALT"))
DSUB, ARHL, RDEL = int(Op.DSUB), int(Op.ARHL), int(Op.RDEL)
HL_PLUS_Z, SP_PLUS_Z = int(Op.HL_PLUS_Z), int(Op.SP_PLUS_Z)
CLEAR_F3 = int(Op.CLEAR_F3)
