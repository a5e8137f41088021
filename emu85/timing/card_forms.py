"""The instruction set in groups and forms, so that what is alike shares a card.

The groups are those of the User's Manual's instruction set chapter; to which an instruction
belongs is told from its rows in the table.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from emu85.bus.cycles import IO_CYCLES
from emu85.isa import INSTRUCTIONS, Addr, Instruction, Op, Operand

_ARITHMETIC = {Op.ADD, Op.ADC, Op.SUB, Op.SBB, Op.INR, Op.DCR, Op.INX, Op.DCX, Op.DAD, Op.DAA}
_LOGICAL = {Op.ANA, Op.XRA, Op.ORA, Op.CMP, Op.RLC, Op.RRC, Op.RAL, Op.RAR, Op.CMA, Op.STC, Op.CMC}
_BRANCH = {Op.JUMP, Op.RESTART, Op.HL_TO_PC}
_CONTROL = {Op.HL_TO_SP, Op.WZ_TO_HL, Op.EI, Op.DI, Op.HALT, Op.RIM, Op.SIM}
_STACK = {Addr.SP, Addr.SP_UP, Addr.SP_DOWN}
_UNSPECIFIED = "Opcodes that Intel's manuals leave out"
GROUPS = (
    "Data transfer",
    "Arithmetic",
    "Logical",
    "Branch",
    "Stack, I/O and machine control",
    _UNSPECIFIED,
)
_REGISTERS = set("BCDEHLA")


@dataclass(frozen=True, slots=True)
class Form:
    """Instructions that differ in registers, condition or restart number only.

    Attributes:
        name: ``"MOV M,r"``.
        group: one of :data:`GROUPS`.
    """

    name: str
    group: str
    instructions: tuple[Instruction, ...]


def forms() -> Iterator[Form]:
    """All 256 opcodes, group by group, in order of opcode within a group."""
    alike: dict[tuple[object, ...], list[Instruction]] = {}
    for one in INSTRUCTIONS:
        alike.setdefault(_likeness(one), []).append(one)
    made = [Form(_name(each), _group(each[0]), tuple(each)) for each in alike.values()]
    for group in GROUPS:
        yield from (form for form in made if form.group == group)


def _likeness(one: Instruction) -> tuple[object, ...]:
    conditional = one.condition is not None
    name = one.mnemonic[0] if conditional and one.mnemonic != "RSTV" else one.mnemonic
    rows = tuple(
        (row.kind, row.t_states, row.address, row.does, row.tests, row.skips) for row in one.cycles
    )
    return name, conditional, one.specified, rows


def _name(alike: Sequence[Instruction]) -> str:
    first = alike[0]
    if len(alike) == 1:
        return first.text()
    mnemonic = first.mnemonic
    if first.condition is not None:
        several = "/".join(one.mnemonic for one in alike)
        mnemonic = f"{mnemonic[0]}cond" if first.specified else several
    places = zip(*(one.operands for one in alike), strict=True)
    return f"{mnemonic} {','.join(map(_operand, places))}".strip()


def _operand(words: Sequence[str | Operand]) -> str:
    first = words[0]
    if isinstance(first, Operand):
        return first.value
    distinct = {word for word in words if isinstance(word, str)}
    if len(distinct) == 1:
        return first
    if distinct <= set("01234567"):
        return "n"
    return "r" if distinct == _REGISTERS else "rp"


def _group(one: Instruction) -> str:
    if not one.specified:
        return _UNSPECIFIED
    does = {row.does for row in one.cycles}
    if does & _BRANCH:
        return "Branch"
    if does & _ARITHMETIC:
        return "Arithmetic"
    if does & _LOGICAL:
        return "Logical"
    moves_stack = any(row.address in _STACK for row in one.cycles)
    ports = any(row.kind in IO_CYCLES for row in one.cycles)
    is_nop = len(one.cycles) == 1 and does == {Op.NONE}
    if does & _CONTROL or moves_stack or ports or is_nop:
        return "Stack, I/O and machine control"
    return "Data transfer"
