"""The listing with what was executed beside each line.

An assembled program is shown by its source, anything else by its disassembly.  A line
without an instruction has no figures; one whose instruction was never reached says so in
a word.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from emu85.firmware import Image, disassemble
from emu85.firmware.assembler.statements import split
from emu85.firmware.assembler.words import MNEMONICS
from emu85.firmware.listing import ListingRow, row_lines
from emu85.profile.coverage import Execution

NEVER = "never"
_HEADING = f"{'times':>11} {'T-states':>13}  addr  bytes           line  source"


@dataclass(frozen=True, slots=True)
class CountedLine:
    """A line of a listing.

    Attributes:
        text: as the listing has it.
        times: how often its instruction was executed; None if it has none.
        t_states: spent there, as ``Execution.t_states``.
        size: bytes of its instruction.
        address: of its instruction; 0 if it has none.
    """

    text: str
    times: int | None = None
    t_states: int = 0
    size: int = 0
    address: int = 0


def counted_rows(rows: Iterable[ListingRow], execution: Execution) -> Iterator[CountedLine]:
    """The lines of an assembly."""
    for row in rows:
        first, *rest = row_lines(row)
        is_instruction = bool(row.data) and split(row.source.text).word in MNEMONICS
        if is_instruction and row.address is not None:
            yield _counted(first, row.address, len(row.data), execution)
        else:
            yield CountedLine(first)
        yield from map(CountedLine, rest)


def counted_code(
    image: Image, execution: Execution, symbols: Mapping[str, int] | None = None
) -> Iterator[CountedLine]:
    """The bytes of an image, disassembled; what was executed is never cut in two."""
    names = image.symbols if symbols is None else symbols
    for segment in image.segments:
        at = segment.start
        while at < segment.end:
            line = disassemble(lambda a: image.bytes_at(a & 0xFFFF, 1)[0], at, symbols=names)
            size = len(line.bytes)
            inside = execution.fetches[at + 1 : at + size]
            if not execution.fetches[at] and (inside.any() or at + size > segment.end):
                size = 1
                data = f"{line.bytes[0]:02X}"
                yield CountedLine(f"{at:04X}  {data:<11}                 DB      0{data}H")
            else:
                data = " ".join(f"{byte:02X}" for byte in line.bytes)
                text = f"{at:04X}  {data:<11}                 {line.text}"
                yield _counted(text, at, size, execution)
            at += size


def coverage(lines: Iterable[CountedLine]) -> tuple[int, int]:
    """Bytes of instructions that were executed, and of all instructions; each once."""
    sizes = {line.address: (line.size, line.times) for line in lines if line.times is not None}
    done = sum(size for size, times in sizes.values() if times)
    return done, sum(size for size, _ in sizes.values())


def write_lines(title: str, lines: Sequence[CountedLine]) -> str:
    """The text of the listing."""
    done, of = coverage(lines)
    share = f", {100 * done / of:.1f} %" if of else ""
    head = f"Listing of {title}, with what was executed"
    about = f"{done} of {of} bytes of instructions executed{share}; {NEVER!r} marks the others"
    return "\n".join([head, about, "", _HEADING, *map(line_text, lines)]) + "\n"


def line_text(line: CountedLine) -> str:
    """One line with its figures."""
    if line.times is None:
        return f"{'':27}{line.text}".rstrip()
    if not line.times:
        return f"{NEVER:>11} {'':>13}  {line.text}"
    return f"{line.times:>11} {line.t_states:>13}  {line.text}"


def _counted(text: str, address: int, size: int, execution: Execution) -> CountedLine:
    times, t_states = int(execution.fetches[address]), int(execution.t_states[address])
    return CountedLine(text, times, t_states, size, address)
