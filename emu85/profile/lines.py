"""The listing with what was executed beside each line.

An assembled program is shown by its source, anything else by its disassembly.  A line
without an instruction has no figures; one whose instruction was never reached says so in
a word.  What was executed has figures however it was written: an instruction put there by
DB has them at its line, and one that begins within a line has a line of its own below it.
So the T-states of all lines, of code elsewhere and of acknowledges are all there are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from emu85.firmware import Image, disassemble
from emu85.firmware.listing import ListingRow, row_lines
from emu85.profile.code import is_instruction
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
        size: bytes of its instruction; of data, those that were executed; 0 where they
            are counted with another line.
        address: of its first byte; 0 if it has none.
    """

    text: str
    times: int | None = None
    t_states: int = 0
    size: int = 0
    address: int = 0


def counted_rows(rows: Iterable[ListingRow], execution: Execution) -> Iterator[CountedLine]:
    """The lines of an assembly."""
    rows = list(rows)
    cells = {
        row.address + n: byte
        for row in rows
        if row.address is not None
        for n, byte in enumerate(row.data)
    }
    covered = execution.covered
    for row in rows:
        first, *rest = row_lines(row)
        at, size = row.address, len(row.data)
        if at is None or not size:
            yield from map(CountedLine, (first, *rest))
            continue
        if is_instruction(row.source):
            yield _counted(first, at, size, execution)
        else:
            size = int(covered[at : at + size].sum())
            figures = _counted(first, at, size, execution)
            yield figures if figures.times else replace(figures, times=None)
        yield from map(CountedLine, rest)
        yield from _within(at + 1, at + len(row.data), execution, lambda a: cells.get(a, 0), {})


def counted_code(
    image: Image, execution: Execution, symbols: Mapping[str, int] | None = None
) -> Iterator[CountedLine]:
    """The bytes of an image, disassembled; what was executed is never cut in two."""
    names = image.symbols if symbols is None else symbols

    def read(address: int) -> int:
        return image.bytes_at(address & 0xFFFF, 1)[0]

    for segment in image.segments:
        at = segment.start
        while at < segment.end:
            line = disassemble(read, at, symbols=names)
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
                yield from _within(at + 1, at + size, execution, read, names)
            at += size


def coverage(lines: Iterable[CountedLine]) -> tuple[int, int]:
    """Bytes of instructions that were executed, and of all instructions; each once."""
    sizes = {line.address: (line.size, line.times) for line in lines if line.size}
    done = sum(size for size, times in sizes.values() if times != 0)
    return done, sum(size for size, _ in sizes.values())


def time_text(lines: Iterable[CountedLine], execution: Execution) -> str:
    """How the T-states of the lines stand to all there are, in words."""
    here = sum(line.t_states for line in lines)
    elsewhere, acknowledges = int(execution.t_states.sum()) - here, execution.acknowledge_t
    return (
        f"{here + elsewhere + acknowledges} T-states: {here} in these lines, {elsewhere} in code "
        f"elsewhere, {acknowledges} in acknowledges and RESET"
    )


def write_lines(title: str, lines: Sequence[CountedLine], execution: Execution) -> str:
    """The text of the listing."""
    done, of = coverage(lines)
    share = f", {100 * done / of:.1f} %" if of else ""
    head = f"Listing of {title}, with what was executed"
    about = f"{done} of {of} bytes of instructions executed{share}; {NEVER!r} marks the others"
    spent = time_text(lines, execution)
    return "\n".join([head, about, spent, "", _HEADING, *map(line_text, lines)]) + "\n"


def line_text(line: CountedLine) -> str:
    """One line with its figures."""
    if line.times is None:
        return f"{'':27}{line.text}".rstrip()
    if not line.times:
        return f"{NEVER:>11} {'':>13}  {line.text}"
    return f"{line.times:>11} {line.t_states:>13}  {line.text}"


def _within(
    low: int,
    end: int,
    execution: Execution,
    read: Callable[[int], int],
    names: Mapping[str, int],
) -> Iterator[CountedLine]:
    """A line for each instruction executed that begins within another line's bytes."""
    for at in range(low, end):
        if execution.fetches[at]:
            line = disassemble(read, at, symbols=names)
            data = " ".join(f"{byte:02X}" for byte in line.bytes)
            text = f"{at:04X}  {data:<11}                 {line.text:<24} ; executed from here"
            yield _counted(text, at, 0, execution)


def _counted(text: str, address: int, size: int, execution: Execution) -> CountedLine:
    times, t_states = int(execution.fetches[address]), int(execution.t_states[address])
    return CountedLine(text, times, t_states, size, address)
