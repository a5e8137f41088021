"""The instruction table: all 256 opcodes as rows of machine cycles.

Nothing about an opcode is written anywhere else: the core's numeric tables, the
assembler, the disassembler and the printed reference all come from here.

Sources
    MAN   Intel MCS-80/85 Family User's Manual, October 1979: instruction set
          chapter (operation, flags, T-states) and the 8085A machine cycle
          tables (value from memory).
    D&S   Dehnhardt & Sorensen, "Unspecified 8085 op codes enhance programming",
          Electronics, 18 January 1979 (value from memory): the ten unspecified
          opcodes and the V and K flags (K is called X5 there).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from emu85.bus.cycles import Cycle
from emu85.isa.terms import Addr, Condition, Instruction, MachineCycle, Op, Operand, Reg

_MAN = "MCS-80/85 Family User's Manual, October 1979, instruction set"
_DS = "Dehnhardt & Sorensen, Electronics, 18 January 1979"

_ALL = "S Z K AC P V CY"
_NO_CARRY = "S Z K AC P V"
_REGISTERS = "BCDEHLMA"
_MEMORY = 6
_PAIRS = (("B", Reg.B), ("D", Reg.D), ("H", Reg.H), ("SP", Reg.SP))
_LOW = {Reg.B: Reg.C, Reg.D: Reg.E, Reg.H: Reg.L, Reg.A: Reg.F}


def _fetch(
    t: int = 4,
    does: Op = Op.NONE,
    register: Reg = Reg.TMP,
    operand: int = 0,
    tests: bool = False,
) -> MachineCycle:
    return MachineCycle(Cycle.OF, t, Addr.PC, register, does, operand, tests)


def _read(
    address: Addr,
    into: Reg,
    does: Op = Op.NONE,
    operand: int = 0,
    tests: bool = False,
    skips: int = 0,
) -> MachineCycle:
    return MachineCycle(Cycle.MR, 3, address, into, does, operand, tests, skips)


def _write(address: Addr, out: Reg, does: Op = Op.NONE, operand: int = 0) -> MachineCycle:
    return MachineCycle(Cycle.MW, 3, address, out, does, operand)


def _idle(does: Op = Op.NONE, operand: int = 0) -> MachineCycle:
    return MachineCycle(Cycle.BI, 3, Addr.PC_HELD, Reg.TMP, does, operand)


# Runs of cycles that several instructions share.
_ADDRESS_BYTES = (_read(Addr.PC, Reg.Z), _read(Addr.PC, Reg.W))
_PUSH_PC = (_write(Addr.SP_DOWN, Reg.PCH), _write(Addr.SP_DOWN, Reg.PCL))
_CALL = (*_PUSH_PC[:1], _write(Addr.SP_DOWN, Reg.PCL, Op.JUMP))
_RETURN = (_read(Addr.SP_UP, Reg.Z), _read(Addr.SP_UP, Reg.W, Op.JUMP))


def _restart(address: int) -> tuple[MachineCycle, ...]:
    return (*_PUSH_PC[:1], _write(Addr.SP_DOWN, Reg.PCL, Op.RESTART, address))


def _make(
    opcode: int,
    mnemonic: str,
    operands: tuple[str | Operand, ...],
    *cycles: MachineCycle,
    does: str,
    flags: str = "",
    condition: Condition | None = None,
    choice: str = "",
    aliases: tuple[str, ...] = (),
    source: str = _MAN,
) -> Instruction:
    return Instruction(
        opcode,
        mnemonic,
        operands,
        cycles,
        condition,
        flags,
        does,
        source == _MAN,
        source,
        choice,
        aliases,
    )


def _moves() -> Iterator[Instruction]:
    cycles: tuple[MachineCycle, ...]
    for to, to_name in enumerate(_REGISTERS):
        for by, by_name in enumerate(_REGISTERS):
            if to == by == _MEMORY:
                continue
            if by == _MEMORY:
                cycles = (_fetch(), _read(Addr.HL, Reg(to)))
            elif to == _MEMORY:
                cycles = (_fetch(), _write(Addr.HL, Reg(by)))
            else:
                cycles = (_fetch(4, Op.MOVE, Reg(to), by),)
            yield _make(0x40 | to << 3 | by, "MOV", (to_name, by_name), *cycles, does="move a byte")
    rest: tuple[MachineCycle, ...]
    for to, name in enumerate(_REGISTERS):
        rest = (
            (_read(Addr.PC, Reg.TMP), _write(Addr.HL, Reg.TMP))
            if to == _MEMORY
            else (_read(Addr.PC, Reg(to)),)
        )
        yield _make(0x06 | to << 3, "MVI", (name, Operand.D8), _fetch(), *rest, does="move a datum")
    for i, (name, pair) in enumerate(_PAIRS):
        if pair is Reg.SP:
            rest = (_read(Addr.PC, Reg.Z), _read(Addr.PC, Reg.W, Op.WZ_TO_SP))
        else:
            rest = (_read(Addr.PC, _LOW[pair]), _read(Addr.PC, pair))
        yield _make(0x01 | i << 4, "LXI", (name, Operand.D16), _fetch(), *rest, does="load a pair")


def _loads_and_stores() -> Iterator[Instruction]:
    direct = (_fetch(), *_ADDRESS_BYTES)
    yield _make(0x3A, "LDA", (Operand.ADDR,), *direct, _read(Addr.WZ, Reg.A), does="load A direct")
    yield _make(
        0x32, "STA", (Operand.ADDR,), *direct, _write(Addr.WZ, Reg.A), does="store A direct"
    )
    yield _make(
        0x2A,
        "LHLD",
        (Operand.ADDR,),
        *direct,
        _read(Addr.WZ_UP, Reg.L),
        _read(Addr.WZ, Reg.H),
        does="load HL direct",
    )
    yield _make(
        0x22,
        "SHLD",
        (Operand.ADDR,),
        *direct,
        _write(Addr.WZ_UP, Reg.L),
        _write(Addr.WZ, Reg.H),
        does="store HL direct",
    )
    for i, (name, address) in enumerate((("B", Addr.BC), ("D", Addr.DE))):
        at = f"at {name}{_LOW[Reg[name]].name}"
        yield _make(
            0x0A | i << 4, "LDAX", (name,), _fetch(), _read(address, Reg.A), does=f"load A {at}"
        )
        yield _make(
            0x02 | i << 4, "STAX", (name,), _fetch(), _write(address, Reg.A), does=f"store A {at}"
        )
    yield _make(0xEB, "XCHG", (), _fetch(4, Op.XCHG), does="exchange HL and DE")


def _arithmetic() -> Iterator[Instruction]:
    cycles: tuple[MachineCycle, ...]
    families = (
        ("ADD", "ADI", "add to A", _ALL),
        ("ADC", "ACI", "add to A with carry", _ALL),
        ("SUB", "SUI", "subtract from A", _ALL),
        ("SBB", "SBI", "subtract from A with borrow", _ALL),
        ("ANA", "ANI", "and with A; CY cleared, AC set", _ALL),
        ("XRA", "XRI", "exclusive-or with A; CY and AC cleared", _ALL),
        ("ORA", "ORI", "or with A; CY and AC cleared", _ALL),
        ("CMP", "CPI", "compare with A", _ALL),
    )
    for i, (name, immediate, does, flags) in enumerate(families):
        op = Op[name]
        choice = "V cleared and K a copy of S: not published" if op in _LOGIC else ""
        for by, by_name in enumerate(_REGISTERS):
            cycles = (
                (_fetch(), _read(Addr.HL, Reg.TMP, op, Reg.TMP))
                if by == _MEMORY
                else (_fetch(4, op, operand=by),)
            )
            yield _make(
                0x80 | i << 3 | by,
                name,
                (by_name,),
                *cycles,
                does=does,
                flags=flags,
                choice=choice,
            )
        yield _make(
            0xC6 | i << 3,
            immediate,
            (Operand.D8,),
            _fetch(),
            _read(Addr.PC, Reg.TMP, op, Reg.TMP),
            does=does,
            flags=flags,
            choice=choice,
        )
    for to, name in enumerate(_REGISTERS):
        for base, op in ((0x04, Op.INR), (0x05, Op.DCR)):
            cycles = (
                (_fetch(), _read(Addr.HL, Reg.TMP, op), _write(Addr.HL, Reg.TMP))
                if to == _MEMORY
                else (_fetch(4, op, Reg(to)),)
            )
            does = "add one" if op is Op.INR else "subtract one"
            yield _make(base | to << 3, op.name, (name,), *cycles, does=does, flags=_NO_CARRY)


_LOGIC = {Op.ANA, Op.XRA, Op.ORA}


def _pairs() -> Iterator[Instruction]:
    for i, (name, pair) in enumerate(_PAIRS):
        for base, op, does, wrap in (
            (0x03, Op.INX, "add one to a pair", "from FFFF to 0000"),
            (0x0B, Op.DCX, "subtract one from a pair", "from 0000 to FFFF"),
        ):
            yield _make(
                base | i << 4,
                op.name,
                (name,),
                _fetch(6, op, operand=pair),
                does=does,
                flags="K",
                choice=f"K set when the pair passes {wrap}, else cleared (D&S)",
            )
        yield _make(
            0x09 | i << 4,
            "DAD",
            (name,),
            _fetch(),
            _idle(),
            _idle(Op.DAD, pair),
            does="add a pair to HL",
            flags="V CY",
            choice="V is the 16-bit two's complement overflow, after D&S; K untouched",
        )


def _accumulator() -> Iterator[Instruction]:
    simple = (
        (0x07, Op.RLC, "rotate A left", "CY"),
        (0x0F, Op.RRC, "rotate A right", "CY"),
        (0x17, Op.RAL, "rotate A left through carry", "CY"),
        (0x1F, Op.RAR, "rotate A right through carry", "CY"),
        (0x2F, Op.CMA, "complement A", ""),
        (0x37, Op.STC, "set carry", "CY"),
        (0x3F, Op.CMC, "complement carry", "CY"),
    )
    for opcode, op, does, flags in simple:
        yield _make(opcode, op.name, (), _fetch(4, op), does=does, flags=flags)
    yield _make(
        0x27,
        "DAA",
        (),
        _fetch(4, Op.DAA),
        does="decimal adjust A",
        flags=_ALL,
        choice="V and K as for an addition of the correction: not published",
    )


def _branches() -> Iterator[Instruction]:
    to_address = (Operand.ADDR,)
    jump = (_read(Addr.PC, Reg.Z), _read(Addr.PC, Reg.W, Op.JUMP))
    # On the 8085 a jump or call not taken ends after its second machine cycle:
    # the third byte is passed over, not read.
    tested = _read(Addr.PC, Reg.Z, tests=True, skips=1)
    yield _make(0xC3, "JMP", to_address, _fetch(), *jump, does="jump")
    yield _make(0xCD, "CALL", to_address, _fetch(6), *_ADDRESS_BYTES, *_CALL, does="call")
    yield _make(0xC9, "RET", (), _fetch(), *_RETURN, does="return")
    for condition in list(Condition)[:8]:
        bits = condition << 3
        name = condition.name
        yield _make(
            0xC2 | bits,
            f"J{name}",
            to_address,
            _fetch(),
            tested,
            jump[1],
            does=f"jump if {name}",
            condition=condition,
        )
        yield _make(
            0xC4 | bits,
            f"C{name}",
            to_address,
            _fetch(6),
            tested,
            _ADDRESS_BYTES[1],
            *_CALL,
            does=f"call if {name}",
            condition=condition,
        )
        yield _make(
            0xC0 | bits,
            f"R{name}",
            (),
            _fetch(6, tests=True),
            *_RETURN,
            does=f"return if {name}",
            condition=condition,
        )
    for n in range(8):
        yield _make(
            0xC7 | n << 3,
            "RST",
            (str(n),),
            _fetch(6),
            *_restart(n * 8),
            does=f"call {n * 8:04X}",
        )
    yield _make(0xE9, "PCHL", (), _fetch(6, Op.HL_TO_PC), does="jump to HL")


def _stack() -> Iterator[Instruction]:
    for i, (name, high) in enumerate((*_PAIRS[:3], ("PSW", Reg.A))):
        low = _LOW[high]
        is_psw = name == "PSW"
        choice = "flag bit 3 always reads 0" if is_psw else ""
        yield _make(
            0xC5 | i << 4,
            "PUSH",
            (name,),
            _fetch(6),
            _write(Addr.SP_DOWN, high),
            _write(Addr.SP_DOWN, low),
            does="push a pair",
            choice=choice,
        )
        yield _make(
            0xC1 | i << 4,
            "POP",
            (name,),
            _fetch(),
            _read(Addr.SP_UP, low, Op.CLEAR_F3 if is_psw else Op.NONE),
            _read(Addr.SP_UP, high),
            does="pop a pair",
            flags=_ALL if is_psw else "",
            choice=choice,
        )
    yield _make(
        0xE3,
        "XTHL",
        (),
        _fetch(),
        _read(Addr.SP_UP, Reg.Z),
        _read(Addr.SP, Reg.W),
        _write(Addr.SP, Reg.H),
        _write(Addr.SP_DOWN, Reg.L, Op.WZ_TO_HL),
        does="exchange HL with the top of the stack",
    )
    yield _make(0xF9, "SPHL", (), _fetch(6, Op.HL_TO_SP), does="load SP from HL")


def _input_output_and_control() -> Iterator[Instruction]:
    number = _read(Addr.PC, Reg.Z)
    input_cycle = MachineCycle(Cycle.IOR, 3, Addr.PORT, Reg.A)
    output_cycle = MachineCycle(Cycle.IOW, 3, Addr.PORT, Reg.A)
    halt = MachineCycle(Cycle.HALT, 1, Addr.PC_HELD, does=Op.HALT)
    port = (Operand.PORT,)
    yield _make(0xDB, "IN", port, _fetch(), number, input_cycle, does="read a port")
    yield _make(0xD3, "OUT", port, _fetch(), number, output_cycle, does="write a port")
    yield _make(
        0x76,
        "HLT",
        (),
        _fetch(),
        halt,
        does="halt until an interrupt or reset",
        choice="the fifth T-state is shown as the first of the halt state",
    )
    for opcode, name, op, does in (
        (0x00, "NOP", Op.NONE, "nothing"),
        (0xFB, "EI", Op.EI, "enable interrupts"),
        (0xF3, "DI", Op.DI, "disable interrupts"),
    ):
        yield _make(opcode, name, (), _fetch(4, op), does=does)
    yield _make(
        0x20,
        "RIM",
        (),
        _fetch(4, Op.RIM),
        does="read interrupt masks and SID",
        choice="lines are read as they stood one T-state before the fetch began",
    )
    yield _make(
        0x30,
        "SIM",
        (),
        _fetch(4, Op.SIM),
        does="set interrupt masks and SOD",
        choice="SOD changes at the end of the instruction's fourth T-state",
    )


def _unspecified() -> Iterator[Instruction]:
    make = partial(_make, source=_DS)
    pair_idle = (_fetch(), _idle())
    yield make(
        0x08,
        "DSUB",
        (),
        *pair_idle,
        _idle(Op.DSUB),
        does="subtract BC from HL",
        flags=_ALL,
        choice="Z from all 16 bits; S, P, AC, V and K from the high byte's subtraction",
    )
    yield make(
        0x10,
        "ARHL",
        (),
        _fetch(),
        _idle(Op.ARHL),
        does="shift HL right arithmetically",
        flags="CY",
        choice="the three T-states after the fetch are shown as one bus idle cycle",
    )
    yield make(
        0x18,
        "RDEL",
        (),
        *pair_idle,
        _idle(Op.RDEL),
        does="rotate DE left through carry",
        flags="V CY",
        choice="V is set when the sign of DE changes",
    )
    offset = _read(Addr.PC, Reg.Z)
    yield make(
        0x28,
        "LDHI",
        (Operand.D8,),
        _fetch(),
        offset,
        _idle(Op.HL_PLUS_Z),
        does="DE <- HL + d8, unsigned",
        choice="the last three T-states are shown as a bus idle cycle",
    )
    yield make(
        0x38,
        "LDSI",
        (Operand.D8,),
        _fetch(),
        offset,
        _idle(Op.SP_PLUS_Z),
        does="DE <- SP + d8, unsigned",
        choice="the last three T-states are shown as a bus idle cycle",
    )
    yield make(
        0xCB,
        "RSTV",
        (),
        _fetch(6, tests=True),
        *_restart(0x40),
        does="call 0040 if V",
        condition=Condition.V,
    )
    to_wz = _fetch(4, Op.DE_TO_WZ)
    yield make(
        0xD9,
        "SHLX",
        (),
        to_wz,
        _write(Addr.WZ_UP, Reg.L),
        _write(Addr.WZ, Reg.H),
        does="store HL at DE",
    )
    yield make(
        0xED,
        "LHLX",
        (),
        to_wz,
        _read(Addr.WZ_UP, Reg.L),
        _read(Addr.WZ, Reg.H),
        does="load HL at DE",
    )
    tested = _read(Addr.PC, Reg.Z, tests=True, skips=1)
    for opcode, condition in ((0xDD, Condition.NK), (0xFD, Condition.K)):
        yield make(
            opcode,
            f"J{condition.name}",
            (Operand.ADDR,),
            _fetch(),
            tested,
            _read(Addr.PC, Reg.W, Op.JUMP),
            does=f"jump if {condition.name}",
            condition=condition,
            aliases=(f"J{condition.name.replace('K', 'X5')}",),
        )


def _build() -> tuple[Instruction, ...]:
    families = (
        _moves,
        _loads_and_stores,
        _arithmetic,
        _pairs,
        _accumulator,
        _branches,
        _stack,
        _input_output_and_control,
        _unspecified,
    )
    by_opcode = {i.opcode: i for family in families for i in family()}
    return tuple(by_opcode[opcode] for opcode in range(256))


INSTRUCTIONS: tuple[Instruction, ...] = _build()
"""All instructions, indexed by opcode."""
