"""From bytes to assembly that gives the same bytes again.

Every opcode has its mnemonic in the instruction table, the unspecified ten
included.  Only an instruction cut off by the end of the range comes out as DB.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from emu85.firmware.assembler.words import RESERVED
from emu85.firmware.image import SPACE
from emu85.firmware.symbols import is_symbol_name
from emu85.isa import INSTRUCTIONS, Instruction, Operand

_INDENT = " " * 8
_WORDS = (Operand.ADDR, Operand.D16)


@dataclass(frozen=True, slots=True)
class Line:
    """One instruction or byte.

    Attributes:
        text: as the assembler takes it, without label.
        instruction: None for a byte shown as DB.
        label: the symbol at this address, or ``""``.
        symbol: the symbol that ``text`` names, or ``""``.
    """

    address: int
    bytes: bytes
    text: str
    instruction: Instruction | None
    label: str = ""
    symbol: str = ""


class SymbolNames:
    """Symbol names by value; of several, the first, as Image orders them.

    Attributes:
        labels: those that can stand before a line, by address.
    """

    def __init__(self, symbols: Mapping[str, int] | None, equated: Collection[str]) -> None:
        self._names: dict[int, str] = {}
        self.labels: dict[int, str] = {}
        taken = set(RESERVED)
        for name, value in (symbols or {}).items():
            if is_symbol_name(name) and name.upper() not in taken:
                self._names.setdefault(value, name)
                if name not in equated:
                    self.labels.setdefault(value, name)
                taken.add(name.upper())

    def at(self, value: int) -> str:
        return self._names.get(value, "")


def disassemble(
    read: Callable[[int], int],
    start: int,
    *,
    end: int = SPACE,
    symbols: Mapping[str, int] | SymbolNames | None = None,
    equated: Collection[str] = (),
) -> Line:
    """The instruction at ``start``.

    Args:
        read: gives the byte at an address.
        start: 0 to FFFF.
        end: the address after the last byte that may belong to it.
        symbols: names for addresses and 16-bit data; whoever asks for many lines one by
            one makes the names of them once.
        equated: those names that stand for a value and so label no line.
    """
    names = symbols if isinstance(symbols, SymbolNames) else SymbolNames(symbols, equated)
    return _line(read, start, end, names)


def disassemble_range(
    read: Callable[[int], int],
    start: int,
    end: int,
    *,
    symbols: Mapping[str, int] | None = None,
    equated: Collection[str] = (),
) -> tuple[Line, ...]:
    """The instructions from ``start`` up to, not including, ``end`` (at most 10000H).

    Bytes at the end that begin an instruction but do not hold all of it come as DB.
    """
    names = SymbolNames(symbols, equated)
    lines: list[Line] = []
    while start < end:
        lines.append(_line(read, start, end, names))
        start += len(lines[-1].bytes)
    return tuple(lines)


def write_source(lines: Sequence[Line], symbols: Mapping[str, int] | None = None) -> str:
    """Source of disassembled ``lines`` that assembles to the bytes they came from.

    Names that stand at no line are equated first; ``symbols`` gives their values.
    """
    labels = {line.label for line in lines}
    values = symbols or {}
    used = dict.fromkeys(line.symbol for line in lines if line.symbol)
    out = [f"{name:7} EQU {_word(values[name])}" for name in used if name not in labels]
    expected = -1
    for line in lines:
        if line.address != expected:
            out.append(f"{_INDENT}ORG {_word(line.address)}")
        if line.label:
            out.append(f"{line.label}:")
        out.append(f"{_INDENT}{line.text}")
        expected = line.address + len(line.bytes)
    return "\n".join([*out, f"{_INDENT}END", ""])


def _line(read: Callable[[int], int], start: int, end: int, names: SymbolNames) -> Line:
    instruction = INSTRUCTIONS[read(start)]
    label = names.labels.get(start, "")
    if start + instruction.length > end:
        byte = read(start)
        return Line(start, bytes([byte]), f"DB {_byte(byte)}", None, label)
    data = bytes(read(start + offset) for offset in range(instruction.length))
    symbol = names.at(_little(data[1:])) if _has_word(instruction.operands) else ""
    return Line(
        start, data, instruction.text(symbol or _number(data[1:])), instruction, label, symbol
    )


def _has_word(operands: Iterable[str | Operand]) -> bool:
    return any(operand in _WORDS for operand in operands)


def _little(data: bytes) -> int:
    return int.from_bytes(data, "little")


def _number(data: bytes) -> str:
    if not data:
        return ""
    return _byte(data[0]) if len(data) == 1 else _word(_little(data))


def _byte(value: int) -> str:
    return _hex(f"{value:02X}")


def _word(value: int) -> str:
    return _hex(f"{value:04X}")


def _hex(digits: str) -> str:
    """Intel's form: a number starts with a digit."""
    return f"{'' if digits[0].isdigit() else '0'}{digits}H"
