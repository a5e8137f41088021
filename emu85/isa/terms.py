"""The words in which the instruction table is written.

Numbers of these enumerations are the numbers the compiled core switches on, so
a member is never renumbered without the core being compiled anew (which happens
by itself: the compiled cache follows the source).
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from emu85.bus.cycles import Cycle


class Addr(enum.IntEnum):
    """What stands on A0-A15 in a machine cycle."""

    PC = 0
    """The program counter, which then advances by one."""
    PC_HELD = 1
    """The program counter, which does not advance (INTA and bus idle cycles)."""
    BC = 2
    DE = 3
    HL = 4
    WZ = 5
    """The internal temporary pair filled by earlier cycles of the instruction."""
    WZ_UP = 6
    """WZ, which then advances by one."""
    SP = 7
    SP_UP = 8
    """The stack pointer, which then advances by one (POP, RET)."""
    SP_DOWN = 9
    """The stack pointer after it went back by one (PUSH, CALL)."""
    PORT = 10
    """The port number in Z on both halves of the address bus."""


class Reg(enum.IntEnum):
    """Places a byte comes from or goes to; the first eight are coded as in opcodes."""

    B = 0
    C = 1
    D = 2
    E = 3
    H = 4
    L = 5
    TMP = 6
    """The temporary register; opcodes write 6 for the memory byte that HL points at."""
    A = 7
    F = 8
    W = 9
    Z = 10
    PCH = 11
    PCL = 12
    SP = 13
    """The stack pointer, only where a register pair is wanted."""


class Condition(enum.IntEnum):
    """Conditions, the first eight coded as in opcodes."""

    NZ = 0
    Z = 1
    NC = 2
    C = 3
    PO = 4
    PE = 5
    P = 6
    M = 7
    NK = 8
    K = 9
    V = 10


class Op(enum.IntEnum):
    """What the CPU does with a byte once its machine cycle has ended.

    ``r`` is the row's register, ``o`` its operand.  Those from EI on act on more
    than registers and flags.
    """

    NONE = 0
    MOVE = 1
    ADD = 2
    ADC = 3
    SUB = 4
    SBB = 5
    ANA = 6
    XRA = 7
    ORA = 8
    CMP = 9
    INR = 10
    DCR = 11
    INX = 12
    DCX = 13
    DAD = 14
    RLC = 15
    RRC = 16
    RAL = 17
    RAR = 18
    DAA = 19
    CMA = 20
    STC = 21
    CMC = 22
    JUMP = 23
    RESTART = 24
    VECTOR = 25
    HL_TO_PC = 26
    HL_TO_SP = 27
    WZ_TO_SP = 28
    WZ_TO_HL = 29
    DE_TO_WZ = 30
    XCHG = 31
    DSUB = 32
    ARHL = 33
    RDEL = 34
    HL_PLUS_Z = 35
    SP_PLUS_Z = 36
    CLEAR_F3 = 37
    EI = 38
    DI = 39
    RIM = 40
    SIM = 41
    HALT = 42


OP_TEXT: dict[Op, str] = {
    Op.NONE: "",
    Op.MOVE: "{r} <- {o}",
    Op.ADD: "A <- A + {o}",
    Op.ADC: "A <- A + {o} + CY",
    Op.SUB: "A <- A - {o}",
    Op.SBB: "A <- A - {o} - CY",
    Op.ANA: "A <- A and {o}",
    Op.XRA: "A <- A xor {o}",
    Op.ORA: "A <- A or {o}",
    Op.CMP: "flags of A - {o}",
    Op.INR: "{r} <- {r} + 1",
    Op.DCR: "{r} <- {r} - 1",
    Op.INX: "{o} <- {o} + 1",
    Op.DCX: "{o} <- {o} - 1",
    Op.DAD: "HL <- HL + {o}",
    Op.RLC: "A rotated left, CY <- A7",
    Op.RRC: "A rotated right, CY <- A0",
    Op.RAL: "A rotated left through CY",
    Op.RAR: "A rotated right through CY",
    Op.DAA: "A adjusted to two BCD digits",
    Op.CMA: "A <- not A",
    Op.STC: "CY <- 1",
    Op.CMC: "CY <- not CY",
    Op.JUMP: "PC <- WZ",
    Op.RESTART: "PC <- {o}",
    Op.VECTOR: "PC <- vector of the acknowledged input",
    Op.HL_TO_PC: "PC <- HL",
    Op.HL_TO_SP: "SP <- HL",
    Op.WZ_TO_SP: "SP <- WZ",
    Op.WZ_TO_HL: "HL <- WZ",
    Op.DE_TO_WZ: "WZ <- DE",
    Op.XCHG: "HL <-> DE",
    Op.EI: "interrupts enabled after the next instruction",
    Op.DI: "interrupts disabled",
    Op.RIM: "A <- SID, pending, IE, masks",
    Op.SIM: "masks, RST 7.5 latch and SOD <- A",
    Op.HALT: "halt",
    Op.DSUB: "HL <- HL - BC",
    Op.ARHL: "HL shifted right arithmetically, CY <- L0",
    Op.RDEL: "DE rotated left through CY",
    Op.HL_PLUS_Z: "DE <- HL + Z",
    Op.SP_PLUS_Z: "DE <- SP + Z",
    Op.CLEAR_F3: "flag bit 3 <- 0",
}


class Operand(enum.Enum):
    """Kinds of written operands that carry bytes after the opcode."""

    D8 = "d8"
    """An 8-bit datum."""
    D16 = "d16"
    """A 16-bit datum, low byte first."""
    ADDR = "addr"
    """A 16-bit address, low byte first."""
    PORT = "port"
    """An 8-bit port number."""


OPERAND_BYTES: dict[Operand, int] = {
    Operand.D8: 1,
    Operand.D16: 2,
    Operand.ADDR: 2,
    Operand.PORT: 1,
}


@dataclass(frozen=True, slots=True)
class MachineCycle:
    """One row of an instruction: what the silicon does in one machine cycle.

    Attributes:
        kind: cycle type.
        t_states: length without wait states, in T-states.
        address: what stands on the address bus.
        register: in a read, where the byte goes; in a write, where it comes from;
            otherwise the register that ``does`` works on.
        does: what happens when the cycle has ended.
        operand: second register of ``does``, a register pair by its high
            register, or the restart address.
        tests: the instruction's condition is tested at the end of this cycle; if
            it is not met the instruction ends here.
        skips: when it ends so, the PC passes over this many further bytes.
        acknowledges: a bus idle cycle that acknowledges TRAP or RST x.5.
    """

    kind: Cycle
    t_states: int
    address: Addr
    register: Reg = Reg.TMP
    does: Op = Op.NONE
    operand: int = 0
    tests: bool = False
    skips: int = 0
    acknowledges: bool = False


@dataclass(frozen=True, slots=True)
class Instruction:
    """One opcode.

    Attributes:
        opcode: 0 to 255.
        mnemonic: as Intel writes it.
        operands: written operands in order; a ``str`` is literal (a register
            name or restart number), an :class:`Operand` carries bytes.
        cycles: machine cycles when the condition, if any, is met.
        condition: what is tested, or None.
        flags: the flags it changes, in the order ``"S Z K AC P V CY"``.
        summary: one line of what it does.
        specified: False for the ten opcodes Intel left out of its manuals.
        source: where its figures are published.
        choice: what was chosen where silicon and manual differ or nobody has
            published; empty where the source settles everything.
        aliases: other mnemonics in use for the same opcode.
    """

    opcode: int
    mnemonic: str
    operands: tuple[str | Operand, ...]
    cycles: tuple[MachineCycle, ...]
    condition: Condition | None = None
    flags: str = ""
    summary: str = ""
    specified: bool = True
    source: str = ""
    choice: str = ""
    aliases: tuple[str, ...] = ()

    @property
    def length(self) -> int:
        """Bytes, 1 to 3."""
        return 1 + sum(OPERAND_BYTES[o] for o in self.operands if isinstance(o, Operand))

    @property
    def cycles_not_taken(self) -> tuple[MachineCycle, ...] | None:
        """Machine cycles when the condition fails; None if there is no condition."""
        if self.condition is None:
            return None
        tested = next(i for i, c in enumerate(self.cycles) if c.tests)
        return self.cycles[: tested + 1]

    @property
    def t_states(self) -> int:
        """T-states without wait states, condition met."""
        return sum(c.t_states for c in self.cycles)

    @property
    def t_states_not_taken(self) -> int | None:
        """T-states without wait states, condition not met; None if unconditional."""
        path = self.cycles_not_taken
        return None if path is None else sum(c.t_states for c in path)

    def text(self, value: str = "") -> str:
        """As written in assembly, ``value`` standing for the byte-carrying operand."""
        words = [value or o.value if isinstance(o, Operand) else o for o in self.operands]
        return f"{self.mnemonic} {','.join(words)}".strip()
