"""A timing card as text, at most 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from emu85.board.quantities import hertz_text, seconds_text
from emu85.timing.ac_table import Part
from emu85.timing.card_waves import stretch
from emu85.timing.cards import Card, CardCycle, Way, time_rows
from emu85.timing.diagram_text import key_line, text_diagram
from emu85.timing.t_states import State
from emu85.wording import counted

WIDTH = 80
_ARROW = " <- "
_TIED = _ARROW.replace(" ", "\N{NO-BREAK SPACE}")
"""A transfer is not torn apart at the end of a line."""
_STATE = 13
"""Columns before what a T-state does."""
_LABEL = 46


def write_card(card: Card) -> str:
    """The whole card."""
    parts = [
        list(_head(card)),
        *(list(_why(card, way)) for way in card.ways),
        list(_full(card)),
        list(_waveform(card, card.ways[0])),
        list(_differing(card)),
        *(list(_waveform(card, way)) for way in card.ways[1:]),
        list(_times(card)),
        list(_remarks(card)),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _head(card: Card) -> Iterator[str]:
    one = card.instruction
    yield from _wrapped(f"{card.subject.name}: {card.summary}")
    if one is None:
        return
    size, flags = counted(one.length, "byte"), one.flags or "none"
    yield f"opcode {one.opcode:02X}, {size}, flags changed: {flags}"


def _why(card: Card, way: Way) -> Iterator[str]:
    """The sum that the T-states are, a machine cycle a line."""
    heading = f"Why {way.t_states} T-states" if not card.is_open else "What happens"
    yield f"{heading}{f', {way.name}' if way.name else ''}"
    for cycle in way.own:
        sign = " " if cycle.number == 1 else "+"
        count = "n" if cycle.is_state and card.is_open else str(cycle.t_states)
        head = f"  {sign} {count:>2}  M{cycle.number} {cycle.kind.name:<6}"
        yield from _wrapped(head + cycle.purpose, len(head))
    if not card.is_open and len(way.own) > 1:
        yield f"  = {way.t_states:>2}"
    if way.length != way.t_states and not card.is_open:
        yield f"  and {way.length - way.t_states} of wait states: {way.length}"


def _full(card: Card) -> Iterator[str]:
    """Every machine cycle of the first way, T-state by T-state."""
    for cycle in card.ways[0].cycles:
        yield from _cycle(cycle) if cycle.number else (f"{_heading(cycle)}   (not counted)",)


def _waveform(card: Card, way: Way) -> Iterator[str]:
    yield f"Waveform{f', {way.name}' if way.name else ''}"
    yield f"  {key_line()}"
    yield from text_diagram(stretch(card, way), width=WIDTH)


def _differing(card: Card) -> Iterator[str]:
    """Of the way not taken, what is otherwise in its last machine cycle."""
    taken = card.ways[0].cycles
    for way in card.ways[1:]:
        last = way.cycles[-1]
        yield f"{way.name}. M{last.number} is then the last:"
        alike = taken[last.number - 1].states
        for state in last.states:
            if state not in alike:
                yield from _state(last, state)


def _cycle(cycle: CardCycle) -> Iterator[str]:
    yield _heading(cycle)
    if cycle.address is not None:
        yield from _wrapped(f"    {buses(cycle)}", 4)
    for state in cycle.states:
        yield from _state(cycle, state)


def _state(cycle: CardCycle, state: State) -> list[str]:
    count = f" x{state.count}" if state.name == "TW" or cycle.is_state else ""
    head = f"    {state.name + count:<{_STATE - 5}} "
    return _wrapped(head + state.does, len(head))


def _heading(cycle: CardCycle) -> str:
    label = f"M{cycle.number}" if cycle.number else "--"
    return f"{label}  {cycle.kind.name:<5} {cycle.description:<22} {levels_text(cycle)}".rstrip()


def levels_text(cycle: CardCycle) -> str:
    """The status lines, and which strobe there is; ``-`` is a line that floats."""
    levels = cycle.levels
    pins = (("IO/M", levels.io_m), ("S1", levels.s1), ("S0", levels.s0))
    status = "  ".join(f"{name} {'-' if level is None else level}" for name, level in pins)
    for name, level in (("RD", levels.rd), ("WR", levels.wr), ("INTA", levels.inta)):
        if level == 0:
            return f"{status}  {name} low"
    return status if cycle.is_state else f"{status}  no strobe"


def buses(cycle: CardCycle) -> str:
    """What stands on the buses and what it is; an example of a run."""
    assert cycle.address is not None
    high, low = cycle.address >> 8, cycle.address & 0xFF
    if not cycle.levels.ale:
        return "A8-A15 not defined, AD0-AD7 floating"
    where = f"A8-A15 {high:02X}, AD0-AD7 {low:02X}"
    source = f"address {cycle.address:04X} is {cycle.source}"
    if cycle.data is None:
        return f"{where} then floating: {source}"
    return f"{where} then {cycle.data:02X}: {source}, data {cycle.data:02X} is {cycle.carries}"


def _times(card: Card) -> Iterator[str]:
    yield f"Time at {hertz_text(card.crystal)}, a T-state being {seconds_text(card.t_seconds)}"
    if card.is_open:
        yield "  a state lasts as long as the line that asks for it says"
        return
    names = " / ".join(way.name.partition(":")[0] for way in card.ways if way.name)
    if names:
        yield f"  {'':<{_LABEL}}{names}"
    for row in time_rows(card):
        count = "/".join(map(str, row.t_states))
        times = " / ".join(seconds_text(t * card.t_seconds) for t in row.t_states)
        yield f"  {row.label:<{_LABEL}}{count:>5}  {times}"


def _remarks(card: Card) -> Iterator[str]:
    for note in card.notes:
        yield from _wrapped(note, 2)
    for line in part_lines(card):
        yield from _wrapped(line, 2)
    yield from _wrapped(f"Source: {card.source}", 2)


def part_lines(card: Card) -> Iterator[str]:
    """What the part asks of the board at this crystal, by its data sheet."""
    part, t_ns = card.part, card.t_seconds * 10**9
    if not part.is_made_for(card.crystal):
        yield (
            f"The {part.name} is made for a T-state of {part.t_cyc_min} to {part.t_cyc_max} ns, "
            f"not of {float(t_ns):.4g} ns."
        )
        return  # its limits say nothing there
    yield (
        f"{part.name}: in a read without wait states the data must be there "
        f"{_ns(card, part, 'tAD')} after the address (tAD) and {_ns(card, part, 'tRD')} after RD "
        f"falls (tRD); in a write they are valid {_ns(card, part, 'tDW')} before WR rises (tDW). "
        f"Each wait state adds {float(t_ns):.4g} ns. {part.source}; defer to the data sheet."
    )


def _ns(card: Card, part: Part, symbol: str) -> str:
    return f"{float(part.ns(symbol, card.t_seconds * 10**9)):.0f} ns"


def _wrapped(text: str, indent: int = 0) -> list[str]:
    lines = textwrap.wrap(
        text.replace(_ARROW, _TIED),
        WIDTH,
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_TIED, _ARROW) for line in lines]
