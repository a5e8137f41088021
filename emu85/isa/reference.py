"""The printed reference of the instruction set, made from the table alone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from emu85.bus.cycles import IO_CYCLES, READS, WRITES, Cycle
from emu85.errors import UserError, nearest
from emu85.isa.addresses import STACK_NOTE, counted_addresses, uses_stack
from emu85.isa.operations import operation_text
from emu85.isa.table import INSTRUCTIONS
from emu85.isa.terms import Addr, Instruction, MachineCycle, Operand

_WIDTH = 80

_ADDRESSES: dict[Addr, str] = {
    Addr.PC: "PC, then PC + 1",
    Addr.PC_HELD: "PC, held",
    Addr.BC: "BC",
    Addr.DE: "DE",
    Addr.HL: "HL",
    Addr.PORT: "port twice",
}


_NOTHING = {Cycle.OF: "decode", Cycle.BI: "internal work"}


def summary() -> str:
    """All 256 opcodes, one line each: opcode, instruction, bytes, T-states, cycles, flags."""
    lines = [
        "Opcodes of the 8085. T-states without wait states; a/b is taken/not taken.",
        "* is one of the ten opcodes that Intel's manuals leave out.",
        "",
        *_table(INSTRUCTIONS),
    ]
    return "\n".join(line.rstrip() for line in lines)


def mnemonics() -> list[str]:
    """Every mnemonic, aliases included, sorted."""
    names = {one.mnemonic for one in INSTRUCTIONS}
    return sorted(names.union(*(one.aliases for one in INSTRUCTIONS)))


def card(name: str) -> str:
    """All that the table says of a mnemonic (``MOV``) or of one opcode (``7EH``).

    Raises:
        UserError: there is no such mnemonic or opcode.
    """
    found = _named(name)
    first = found[0]
    lines = [f"{first.mnemonic}: {_same([one.summary for one in found])}".rstrip(": "), ""]
    lines += _table(found)
    for group in _alike(found):
        lines += ["", *_cycle_lines(group)]
    lines.append("")
    for note in _notes(found):
        lines += textwrap.wrap(note, _WIDTH, subsequent_indent="  ")
    return "\n".join(line.rstrip() for line in lines)


def _named(name: str) -> list[Instruction]:
    wanted = name.upper()
    found = [i for i in INSTRUCTIONS if wanted == i.mnemonic or wanted in i.aliases]
    if found:
        return found
    digits = wanted.removesuffix("H")
    is_byte = 1 <= len(digits) <= 3 and all(c in "0123456789ABCDEF" for c in digits)
    if is_byte and int(digits, 16) < 256:
        return [INSTRUCTIONS[int(digits, 16)]]
    raise UserError(
        f"there is no instruction {name!r}",
        expected="a mnemonic such as MOV, or an opcode in hexadecimal such as 7E",
        nearest=nearest(name, mnemonics()),
    )


_HEAD = ("op", "instruction", "bytes", "T", "machine cycles", "flags")
_NARROWEST = (2, 13, 5, 5, 20, 0)
"""Columns are at least so wide, so that cards look alike; two blanks stand between them."""


def _table(shown: Sequence[Instruction]) -> list[str]:
    """A heading and a line for each instruction."""
    rows = [_HEAD, *(_cells(one) for one in shown)]
    columns = zip(_NARROWEST, *rows, strict=True)
    widths = [max(least, *map(len, cells)) for least, *cells in columns]
    return ["  ".join(map(str.ljust, row, widths)) for row in rows]


def _cells(one: Instruction) -> tuple[str, ...]:
    t_states = str(one.t_states)
    kinds = _kinds(one.cycles)
    if one.cycles_not_taken is not None:
        t_states += f"/{one.t_states_not_taken}"
        kinds += f" / {_kinds(one.cycles_not_taken)}"
    text = one.text() if one.specified else f"{one.text()}*"
    return (f"{one.opcode:02X}", text, str(one.length), t_states, kinds, one.flags or "-")


def _kinds(cycles: Sequence[MachineCycle]) -> str:
    return " ".join(cycle.kind.name for cycle in cycles)


def _alike(found: Sequence[Instruction]) -> list[list[Instruction]]:
    """Instructions grouped by what their machine cycles are, registers apart."""
    groups: dict[tuple[tuple[Cycle, int, Addr], ...], list[Instruction]] = {}
    for one in found:
        shape = tuple((c.kind, c.t_states, c.address) for c in one.cycles)
        groups.setdefault(shape, []).append(one)
    return list(groups.values())


def _cycle_lines(group: Sequence[Instruction]) -> Iterator[str]:
    example = group[0]
    others = f" (and {len(group) - 1} alike)" if len(group) > 1 else ""
    yield f"{example.text()}{others}, cycle by cycle:"
    last_if_failed = len(example.cycles_not_taken or ())
    counted = counted_addresses(example.cycles)
    for number, (cycle, address) in enumerate(zip(example.cycles, counted, strict=True), 1):
        yield (
            f"  {number}  {cycle.kind.name:<5}{cycle.t_states} T  "
            f"{address or _ADDRESSES[cycle.address]:<17}{_does(cycle)}"
        )
        if number == last_if_failed:
            condition = example.condition.name if example.condition is not None else ""
            yield f"     unless {condition}: the instruction ends here{_skip_text(cycle)}"


def _skip_text(cycle: MachineCycle) -> str:
    return f", PC + {cycle.skips}" if cycle.skips else ""


def _does(cycle: MachineCycle) -> str:
    parts = [part for part in (_transfer(cycle), operation_text(cycle)) if part]
    return "; ".join(parts) or _NOTHING.get(cycle.kind, "")


def _transfer(cycle: MachineCycle) -> str:
    if cycle.kind is Cycle.OF:
        return ""
    if cycle.kind in READS:
        return f"{cycle.register.name} <- {'port' if cycle.kind in IO_CYCLES else 'data bus'}"
    if cycle.kind in WRITES:
        return f"data bus <- {cycle.register.name}"
    return ""


def _notes(found: Sequence[Instruction]) -> Iterator[str]:
    first = found[0]
    if not first.specified:
        yield "Not in Intel's manuals."
    if any(uses_stack(one.cycles) for one in found):
        yield STACK_NOTE
    for source in dict.fromkeys(one.source for one in found):
        yield f"Source: {source}"
    for choice in dict.fromkeys(one.choice for one in found if one.choice):
        yield f"Choice: {choice}"
    for alias in dict.fromkeys(alias for one in found for alias in one.aliases):
        yield f"Also written: {alias}"
    if any(isinstance(o, Operand) for one in found for o in one.operands):
        yield "Operands: d8 a byte, d16 and addr two bytes (low first), port a byte"


def _same(texts: Sequence[str]) -> str:
    return texts[0] if len(set(texts)) == 1 else ""
