"""How long a routine takes, for people."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from emu85.board.quantities import hertz_text, seconds_text
from emu85.burn.places import Places
from emu85.firmware import Image, disassemble
from emu85.timing.duration.analysis import Loop, Result
from emu85.timing.duration.counting import Times
from emu85.timing.duration.folding import folded
from emu85.timing.duration.ways import Both, Told, Way
from emu85.wording import counted, cut

_WIDTH = 80
_MOST_LINES = 40
_DEEP = " " * 4


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked about.

    Attributes:
        name: the routine as the user wrote it.
        address: where it begins.
        board: name of the board.
        clock: of the CPU, in hertz.
        image, places: the firmware and its names.
        call: T-states of a CALL to it, least and most.
    """

    name: str
    address: int
    board: str
    clock: Fraction
    image: Image
    places: Places
    call: tuple[int, int]


def tell(asked: Asked, result: Result, *, every: bool = False) -> str:
    """Least, most, loops, and the ways; ``every`` line of them instead of the first 40."""
    lines = [*_head(asked, result), *_reasons(result), *_loops(asked, result)]
    ways = result.ways
    if ways is not None:
        lines += _ways(asked, ways, every)
    return "\n".join(cut(line.rstrip(), _WIDTH) for line in lines) + "\n"


def _head(asked: Asked, result: Result) -> Iterator[str]:
    ways = result.ways
    t = seconds_text(1 / asked.clock)
    name = asked.places.symbol(asked.address) or asked.name
    yield f"{name} ({asked.address:04X}) on {asked.board}: CLK {hertz_text(asked.clock)}, T {t}"
    if ways is None:
        yield "  it never returns"
        return
    yield f"  least  {_span(ways.least.t, asked.clock)}"
    yield f"  most   {_none() if ways.most is None else _span(ways.most.t, asked.clock)}"
    low, high = asked.call
    call = f"{low}" if low == high else f"{low} to {high}"
    about = f"From its first opcode fetch to the end of its return; a CALL takes {call} more."
    yield from textwrap.wrap(about, _WIDTH)
    yield "The board's wait states are counted; interrupts and holds are not."


def _none() -> str:
    return f"{'none':>9}"


def _span(t: int, clock: Fraction) -> str:
    return f"{t:>9} T-states  {seconds_text(t / clock)}"


def _reasons(result: Result) -> Iterator[str]:
    if result.why:
        yield ""
        yield "There is no most, since"
        for why in result.why:
            yield f"  {why}"


def _loops(asked: Asked, result: Result) -> Iterator[str]:
    if not result.loops:
        return
    yield ""
    yield "Loops"
    for loop in result.loops:
        found = loop.loop
        head = f"  at {_place(asked, found.head)}"
        yield f"{head}: {_passes(found.passes)}"
        about = found.about
        if found.passes.most is None and found.exits:
            about += f"; --at-most {_name(asked, found.head)}=PASSES would set a most"
        yield from textwrap.wrap(about, _WIDTH, initial_indent=_DEEP, subsequent_indent=_DEEP)
        if found.pass_ is not None:
            yield f"    a pass takes {_both(found.pass_)}"


def _passes(times: Times) -> str:
    if times.most is None:
        return f"{_pass_count(times.least)} or more, no most"
    if times.least == times.most:
        return _pass_count(times.most)
    return f"{times.least} to {_pass_count(times.most)}"


def _pass_count(count: int) -> str:
    return "1 pass" if count == 1 else f"{count} passes"


def _both(ways: Both) -> str:
    if ways.most is None:
        return f"{ways.least.t} T-states or more"
    if ways.least.t == ways.most.t:
        return counted(ways.most.t, "T-state")
    return f"{ways.least.t} to {ways.most.t} T-states"


def _ways(asked: Asked, ways: Both, every: bool) -> Iterator[str]:
    one = list(_way(asked, ways.least))
    other = [] if ways.most is None else list(_way(asked, ways.most))
    if one == other:
        yield from _titled("The only way", one, every)
        return
    yield from _titled("The shortest way", one, every)
    if ways.most is not None:
        yield from _titled("The longest way", other, every)


def _titled(title: str, lines: list[str], every: bool) -> Iterator[str]:
    yield ""
    yield title
    shown = lines if every else lines[:_MOST_LINES]
    yield from shown
    if len(shown) < len(lines):
        yield f"  ... and {counted(len(lines) - len(shown), 'line')} more; --all shows them"


def _way(asked: Asked, way: Way) -> Iterator[str]:
    for told in folded(way).told():
        yield _line(asked, told)


def _line(asked: Asked, told: Told) -> str:
    indent = "  " + "  " * told.depth
    if told.step is None:
        return f"{indent}{told.passes} times, {told.pass_t} T-states each:"
    address = told.step.address
    line = disassemble(
        lambda at: asked.image.bytes_at(at, 1)[0],
        address,
        symbols=asked.image.symbols,
        equated=asked.image.equated,
    )
    note = {None: "", True: "met", False: "not met"}[told.step.jumps]
    if told.step.called:
        note = f"{told.step.called} in the routine"
    label = asked.places.labels.get(address, "")
    left = f"{indent}{address:04X}  {cut(label, 10):<10} {' '.join(line.text.split())}"
    return f"{cut(left, 45):<45} {told.step.t:>8}  {note}"


def _place(asked: Asked, address: int) -> str:
    symbol = asked.places.symbol(address)
    return f"{symbol} ({address:04X})" if symbol else f"{address:04X}"


def _name(asked: Asked, address: int) -> str:
    return asked.places.symbol(address) or f"{address:04X}"


def loop_heads(loops: tuple[Loop, ...], places: Places) -> dict[str, int]:
    """Loops by the names that a user can call them."""
    named: dict[str, int] = {}
    for loop in loops:
        head = loop.loop.head
        named[places.symbol(head) or f"{head:04X}"] = head
    return named
