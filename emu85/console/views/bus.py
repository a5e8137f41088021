"""The bus as it would stand on the bench: one machine cycle in full, or many as rows.

Levels are those of the pins: a strobe that is 0 is active.  ``-`` is a line in
its high-impedance state; in HALT, HOLD and RESET the buses are (User's Manual,
October 1979, value from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from emu85.bus.cycles import BI_ACKNOWLEDGE, DESCRIPTIONS, LEVELS, READS, STATES, Cycle, Levels
from emu85.bus.expand import is_acknowledge, is_given
from emu85.bus.lines import Line
from emu85.console.folding import folded
from emu85.console.views.places import Places

Record = Any
"""One record of the trace: fields t, address, data, type, lines, waits."""

Disassembly = Callable[[Record], str]
"""The instruction that an opcode fetch begins, as text."""

_INPUTS = (
    ("TRAP", Line.TRAP),
    ("7.5", Line.RST75),
    ("6.5", Line.RST65),
    ("5.5", Line.RST55),
    ("INTR", Line.INTR),
    ("HOLD", Line.HOLD),
    ("SID", Line.SID),
    ("SOD", Line.SOD),
)
_STATUS = (("IO/M", Line.IO_M), ("S1", Line.S1), ("S0", Line.S0))
_LEFT_HEAD = f"{'T-state':>9} {'type':<5} {'address':<19} {'hex':<4}"
_RIGHT_HEAD = f"{'data':<12}"
_ROW = 69
"""Columns of a row before the instruction."""
_SECOND = " " * 10
"""Before what does not fit on a row's first line."""
_LABEL = 11
"""Columns of a panel's line before what it tells."""


def nibbles(value: int, bits: int) -> str:
    """A value in binary, most significant bit first, a blank between nibbles."""
    digits = f"{value:0{bits}b}"
    return " ".join(digits[i : i + 4] for i in range(0, bits, 4))


def _bit(word: int, line: Line) -> str:
    return "1" if word & line else "0"


def _pin(level: int | None) -> str:
    return "-" if level is None else str(level)


def levels(record: Record) -> Levels:
    """Status and strobes in this machine cycle."""
    cycle = Cycle(int(record["type"]))
    if is_acknowledge(record):
        return BI_ACKNOWLEDGE
    if is_given(record):
        # Those of the CPU: it has let go of them, and a bus master has its own.
        return replace(LEVELS[cycle], ale=0, io_m=None, s1=None, s0=None)
    return LEVELS[cycle]


def header(width: int) -> list[str]:
    """Column heads of :func:`rows`; the names of single lines run downwards."""
    columns = [name.rjust(4) for name, _ in _STATUS]
    inputs = [name.rjust(4) for name, _ in _INPUTS]
    waits = "WAIT"
    is_narrow = width < _ROW
    lines = [_LEFT_HEAD] if is_narrow else []
    before = _SECOND if is_narrow else f"{'':<{len(_LEFT_HEAD)}} "
    for i in range(4):
        if i == 3 and not is_narrow:
            before = f"{_LEFT_HEAD} "
        data = f"{_RIGHT_HEAD if i == 3 else '':<{len(_RIGHT_HEAD)}}"
        status = "".join(name[i] for name in columns)
        lines.append(f"{before}{data} {status} {''.join(n[i] for n in inputs)} {waits[i]}".rstrip())
    return lines


def rows(records: Iterable[Record], width: int, disassembly: Disassembly) -> list[str]:
    """One line a machine cycle, or two on a narrow screen.

    Instructions that do not fit stand on a line above.
    """
    lines: list[str] = []
    for record in records:
        left, right = _row(record)
        above, beside = _divided(_row_text(record, disassembly), width - _ROW)
        if above:
            lines += folded(f"{_SECOND}{above}", width, len(_SECOND))
        if width < _ROW:
            lines += [left, f"{_SECOND}{right}"]
        else:
            lines.append(f"{left} {right} {beside}".rstrip())
    return lines


def _divided(text: str, room: int) -> tuple[str, str]:
    """What of a row's text goes on a line above it; the label alone if that is enough."""
    if not text or len(text) <= room:
        return "", text
    label, colon, rest = text.partition(": ")
    return (f"{label}:", rest) if colon and len(rest) <= room else (text, "")


def _row(record: Record) -> tuple[str, str]:
    """T-state, type and address; then data and lines."""
    word = int(record["lines"])
    pins = levels(record)
    status = _pin(pins.io_m) + _pin(pins.s1) + _pin(pins.s0)
    inputs = "".join(_bit(word, line) for _, line in _INPUTS)
    waits = int(record["waits"])
    shown_waits = "." if waits == 0 else str(waits) if waits < 10 else "+"
    address, address_hex, data, data_hex = _buses(record)
    cycle = Cycle(int(record["type"])).name
    return (
        f"{int(record['t']):>9} {cycle:<5} {address} {address_hex}",
        f"{data} {data_hex} {status} {inputs} {shown_waits}",
    )


def _buses(record: Record) -> tuple[str, str, str, str]:
    """Address, then data, each in binary and hexadecimal.

    Both float in HALT, HOLD and RESET.
    """
    if Cycle(int(record["type"])) in STATES:
        return "---- ---- ---- ----", "----", "---- ----", "--"
    address, data = int(record["address"]), int(record["data"])
    return nibbles(address, 16), f"{address:04X}", nibbles(data, 8), f"{data:02X}"


def _row_text(record: Record, disassembly: Disassembly) -> str:
    word, cycle = int(record["lines"]), Cycle(int(record["type"]))
    notes = [
        disassembly(record) if cycle in (Cycle.OF, Cycle.INA) else "",
        "floating" if word & Line.FLOATING and cycle in READS else "",
        "finding" if word & Line.FINDING else "",
    ]
    return ", ".join(note for note in notes if note)


def panel(
    record: Record, length: int | None, instruction: str, places: Places, width: int
) -> list[str]:
    """One machine cycle in full; what does not fit goes on below.

    Args:
        record: the machine cycle.
        length: its T-states, wait states included; None if it has not ended.
        instruction: the instruction it belongs to, as text; may be empty.
        places: names of addresses.
        width: columns.
    """
    word = int(record["lines"])
    cycle = Cycle(int(record["type"]))
    pins = levels(record)
    t_states = "" if length is None else f", {length} T-state{'' if length == 1 else 's'}"
    is_floating = word & Line.FLOATING and cycle in READS
    floating = "  floating: no chip answers" if is_floating else ""
    name = places.near(int(record["address"])) if cycle in _MEMORY_CYCLES else ""
    address, address_hex, data, data_hex = _buses(record)
    waits = int(record["waits"])
    lines = [
        f"  cycle    {cycle.name}  {DESCRIPTIONS[cycle]} from T-state {int(record['t'])}{t_states}",
        f"  address  {address}  {address_hex:<4}  {name}",
        f"  data     {data:<19}  {data_hex:<4}{floating}",
        f"  status   IO/M {_pin(pins.io_m)}  S1 {_pin(pins.s1)}  S0 {_pin(pins.s0)}     "
        f"strobes  RD {_pin(pins.rd)}  WR {_pin(pins.wr)}  INTA {_pin(pins.inta)}  "
        + ("ALE in T1" if pins.ale else "no ALE"),
        "  control  " + _named(word, _CONTROL) + f"  wait states {waits}",
        "  inputs   " + _named(word, _INTERRUPTS),
        f"  serial   SID {_bit(word, Line.SID)}  SOD {_bit(word, Line.SOD)}",
    ]
    if instruction:
        lines.append(f"  code     {instruction}")
    return [part for line in lines for part in folded(line, width, _LABEL)]


_MEMORY_CYCLES = (Cycle.OF, Cycle.MR, Cycle.MW)
_HOLDING = (("HOLD", Line.HOLD), ("HLDA", Line.HLDA))
_CONTROL = (("READY", Line.READY), *_HOLDING, ("RESET OUT", Line.RESET_OUT))
_INTERRUPTS = (
    ("TRAP", Line.TRAP),
    ("RST 7.5", Line.RST75),
    ("RST 6.5", Line.RST65),
    ("RST 5.5", Line.RST55),
    ("INTR", Line.INTR),
)


def _named(word: int, lines: Sequence[tuple[str, Line]]) -> str:
    return "  ".join(f"{name} {_bit(word, line)}" for name, line in lines)


def pins(word: int) -> list[str]:
    """Every line outside the address and data buses, by name, for ``lines``."""
    return [
        "  inputs   " + _named(word, _INTERRUPTS),
        f"  serial   SID {_bit(word, Line.SID)}  SOD {_bit(word, Line.SOD)}",
        "  control  " + _named(word, _HOLDING),
    ]


def brief(record: Record) -> str:
    """Address, data and type in a few columns, for the bottom line."""
    cycle = Cycle(int(record["type"]))
    if cycle in STATES:
        return cycle.name
    return f"{cycle.name} {int(record['address']):04X} {int(record['data']):02X}"


def sentence(record: Record) -> str:
    """What the machine cycle did, in words."""
    cycle = Cycle(int(record["type"]))
    address, data = int(record["address"]), int(record["data"])
    if cycle in (Cycle.IOR, Cycle.IOW):
        by = "from" if cycle is Cycle.IOR else "to"
        return f"{DESCRIPTIONS[cycle]} of {data:02X} {by} port {address & 0xFF:02X}"
    if cycle is Cycle.MW:
        return f"memory write of {data:02X} to {address:04X}"
    if cycle in (Cycle.OF, Cycle.MR):
        return f"{DESCRIPTIONS[cycle]} of {data:02X} from {address:04X}"
    if cycle is Cycle.INA:
        return f"interrupt acknowledge with {data:02X} on the data bus"
    if cycle is Cycle.BI:
        return f"bus idle at {address:04X}"
    return f"{DESCRIPTIONS[cycle]} state"
