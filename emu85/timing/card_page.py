"""Timing cards as one HTML page that needs nothing else and prints well in black and white.

What is alike shares a card, and each opcode has its anchor there: ``#op-77``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from emu85.board.quantities import hertz_text, seconds_text
from emu85.isa import INSTRUCTIONS, Instruction
from emu85.timing.bench import Bench
from emu85.timing.card_forms import Form, forms
from emu85.timing.card_text import buses, levels_text, part_lines
from emu85.timing.card_waves import drawing, shared, without_shared
from emu85.timing.cards import Card, CardCycle, Setting, Way, make_card, time_rows
from emu85.timing.subjects import EVENTS, Subject, instruction_subject
from emu85.timing.t_states import State
from emu85.wording import counted

_EVENT_GROUP = "Interrupts, halt, hold and reset"
_STYLE = """
body { font: 15px/1.4 Georgia, serif; color: #111; background: #fff; margin: 2em auto;
  max-width: 62em; padding: 0 1em }
h1 { font-size: 1.5em; margin-bottom: .2em } h2 { font-size: 1.25em; margin: 2em 0 .4em;
  border-bottom: 3px double #111 } h3 { font-size: 1.1em; margin: 0 0 .2em }
a { color: inherit } code, .c { font-family: monospace; font-size: .93em }
table { border-collapse: collapse } td, th { text-align: left; vertical-align: top;
  padding: .1em .6em .1em 0 } .n { text-align: right }
.index td, .index th { border: 1px solid #bbb; padding: .15em .3em; font-size: .72em;
  font-family: monospace; text-align: left } .index th { background: #eee }
.card { border: 1px solid #111; padding: .6em .8em; margin: 0 0 1.2em }
.card p { margin: .2em 0 }
.ops a, .ops span { display: inline-block; margin-right: 1.1em; white-space: nowrap }
.card h4 { font-size: 1em; margin: .7em 0 .1em }
.side { display: flex; flex-wrap: wrap; gap: 0 3em }
.states { width: 100%; margin: .4em 0 }
.states th { border-top: 1px solid #111; font-weight: normal }
.states td:first-child { width: 4.5em; padding-left: 1em;
  font-family: monospace; font-size: .93em }
.sum td:first-child, .times .n { font-family: monospace; font-size: .93em }
.total td { border-top: 1px solid #111 }
.note { margin: .2em 0; font-size: .93em } figure { margin: .6em 0 }
figure svg { max-width: 100%; height: auto; display: block }
@media print { body { margin: 0; max-width: none; font-size: 9pt; line-height: 1.3 }
  a { text-decoration: none } td, th { padding-top: 0; padding-bottom: 0 }
  .card, tr, figure { break-inside: avoid } h2, h3, h4 { break-after: avoid }
  .card { margin-bottom: .6em } figure { margin: .2em 0 }
  figure svg { width: auto; max-width: 100%; height: 7.6cm } }
"""


@dataclass(frozen=True, slots=True)
class _Entry:
    """A card of the page.

    Attributes:
        name: its heading.
        group: the heading above it.
        subjects: what shares it.
    """

    name: str
    group: str
    subjects: tuple[Subject, ...]

    @property
    def example(self) -> Subject:
        """The one that is told T-state by T-state, with two registers if it can have two."""
        for one in self.subjects:
            words = one.instruction.operands if one.instruction else ()
            if len(set(words)) == len(words):
                return one
        return self.subjects[0]

    @property
    def anchor(self) -> str:
        """Its place on the page."""
        words = re.sub("[^a-z0-9]+", "-", f"{self.group[:5]} {self.name}".casefold())
        return f"card-{words.strip('-')}"


def write_page(subjects: Sequence[Subject] | None, setting: Setting, bench: Bench) -> str:
    """The page's text, to be written as UTF-8.

    Args:
        subjects: what there are to be cards of; None for everything there is.
    """
    if subjects is None:
        entries = list(_everything())
        title = "Timing cards of the 8085"
    else:
        entries = [_Entry(one.name, "", (one,)) for one in subjects]
        title = f"Timing card: {', '.join(one.name for one in subjects)}"
    cards = [make_card(entry.example, setting, bench) for entry in entries]
    drawn = [[drawing(card, way) for way in card.ways] for card in cards]
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        *_head(cards[0]),
        *(_index(entries) if subjects is None else ()),
        shared(each for drawings in drawn for each in drawings),
        *_groups(entries, cards, drawn),
        "</body></html>",
        "",
    ]
    return "\n".join(parts)


def _everything() -> Iterator[_Entry]:
    yield from map(_of_form, forms())
    for one in EVENTS:
        yield _Entry(one.name, _EVENT_GROUP, (one,))


def _of_form(form: Form) -> _Entry:
    alike = tuple(instruction_subject(one.opcode) for one in form.instructions)
    return _Entry(form.name, form.group, alike)


def _head(card: Card) -> Iterator[str]:
    board = f" Wait states are those of the board {escape(card.board)}." if card.board else ""
    yield (
        f"<p>Times at a crystal of {hertz_text(card.crystal)}: CLK is half of it, a T-state "
        f"{seconds_text(card.t_seconds)}.{board} Addresses and data are those of an example.</p>"
    )
    yield from (f'<p class="note">{escape(line)}</p>' for line in part_lines(card))


# --- the index ----------------------------------------------------------------------


def _index(entries: Iterable[_Entry]) -> Iterator[str]:
    yield "<h2>By opcode</h2><p>Under each its T-states; taken/not taken.</p>"
    yield '<table class="index"><tr><th></th>'
    yield "".join(f"<th>x{low:X}</th>" for low in range(16)) + "</tr>"
    for high in range(0, 256, 16):
        cells = "".join(map(_index_cell, INSTRUCTIONS[high : high + 16]))
        yield f"<tr><th>{high >> 4:X}x</th>{cells}</tr>"
    yield "</table><h2>By group</h2>"
    groups: dict[str, list[_Entry]] = {}
    for entry in entries:
        groups.setdefault(entry.group, []).append(entry)
    for group, listed in groups.items():
        links = " ".join(f'<a href="#{one.anchor}">{escape(one.name)}</a>' for one in listed)
        yield f'<p class="ops"><b>{escape(group)}</b><br>{links}</p>'


def _index_cell(one: Instruction) -> str:
    t_states = str(one.t_states)
    if one.t_states_not_taken is not None:
        t_states += f"/{one.t_states_not_taken}"
    return f'<td><a href="#op-{one.opcode:02X}">{escape(one.text())}</a><br>{t_states}</td>'


# --- cards --------------------------------------------------------------------------


def _groups(
    entries: Sequence[_Entry], cards: Sequence[Card], drawn: Sequence[Sequence[str]]
) -> Iterator[str]:
    group = ""
    for entry, card, drawings in zip(entries, cards, drawn, strict=True):
        if entry.group != group:
            group = entry.group
            yield f"<h2>{escape(group)}</h2>"
        yield from _card(entry, card, drawings)


def _card(entry: _Entry, card: Card, drawings: Sequence[str]) -> Iterator[str]:
    yield f'<section class="card" id="{entry.anchor}"><h3>{escape(entry.name)}</h3>'
    yield from _opcodes(entry)
    example = f"Here {card.subject.name}: " if len(entry.subjects) > 1 else ""
    yield f"<p>{escape(example)}{_about(card)}</p>"
    yield '<div class="side">'
    for way in card.ways:
        yield from _sum(card, way)
    yield "</div>"
    yield from _t_states(entry, card)
    yield from (f"<figure>{without_shared(each)}</figure>" for each in drawings)
    yield from _times(card)
    yield from (f'<p class="note">{escape(note)}</p>' for note in card.notes)
    yield f'<p class="note">Source: {escape(card.source)}</p></section>'


def _opcodes(entry: _Entry) -> Iterator[str]:
    coded = [one.instruction for one in entry.subjects if one.event is None]
    if not coded:
        return
    yield '<p class="ops">'
    for one in coded:
        assert one is not None
        code = f"{one.opcode:02X}"
        yield f'<span id="op-{code}"><code>{code}</code> {escape(one.text())}</span>'
    yield "</p>"


def _about(card: Card) -> str:
    one = card.instruction
    if one is None:
        return escape(card.summary)
    size = counted(one.length, "byte")
    return f"{escape(card.summary)}; {size}; flags changed: {one.flags or 'none'}"


def _sum(card: Card, way: Way) -> Iterator[str]:
    heading = "What happens" if card.is_open else f"Why {way.t_states} T-states"
    name = f", {way.name}" if way.name else ""
    yield f'<div><h4>{escape(heading + name)}</h4><table class="sum">'
    for cycle in way.own:
        count = "n" if card.is_open and cycle.is_state else cycle.t_states
        yield (
            f'<tr><td class="n">{count}</td><td>M{cycle.number}</td><td>{cycle.kind.name}</td>'
            f"<td>{escape(cycle.purpose)}</td></tr>"
        )
    if not card.is_open:
        waits = way.length - way.t_states
        more = f"and {counted(waits, 'wait state')}: {way.length}" if waits else ""
        yield f'<tr class="total"><td class="n">{way.t_states}</td><td colspan="3">{more}</td></tr>'
    yield "</table></div>"


def _t_states(entry: _Entry, card: Card) -> Iterator[str]:
    alike = f"T-state by T-state: {card.subject.name}" if len(entry.subjects) > 1 else ""
    if alike:
        yield f"<h4>{escape(alike)}</h4>"
    first = card.ways[0].cycles
    yield '<table class="states">'
    for cycle in first:
        yield from _cycle(cycle)
    for way in card.ways[1:]:
        last = way.cycles[-1]
        text = f"{way.name}; M{last.number} is then the last"
        yield f'<tr><th colspan="2">{escape(text)}</th></tr>'
        alike_states = first[last.number - 1].states
        yield from (_state(state) for state in last.states if state not in alike_states)
    yield "</table>"


def _cycle(cycle: CardCycle) -> Iterator[str]:
    label = f"M{cycle.number}" if cycle.number else "(not counted)"
    bus = "" if cycle.address is None else f"<br>{escape(buses(cycle))}"
    yield (
        f'<tr><th colspan="2"><b>{label} {cycle.kind.name}</b> {escape(cycle.description)}, '
        f"{escape(levels_text(cycle))}{bus}</th></tr>"
    )
    if cycle.number:
        yield from map(_state, cycle.states)


def _state(state: State) -> str:
    count = f" x{state.count}" if state.count > 1 and " " not in state.name else ""
    return f"<tr><td>{state.name}{count}</td><td>{escape(state.does)}</td></tr>"


def _times(card: Card) -> Iterator[str]:
    if card.is_open:
        return
    yield '<table class="times">'
    names = " / ".join(way.name.partition(":")[0] for way in card.ways if way.name)
    if names:
        yield f"<tr><td></td><td></td><td>{names}</td></tr>"
    for row in time_rows(card):
        count = "/".join(map(str, row.t_states))
        times = " / ".join(seconds_text(t * card.t_seconds) for t in row.t_states)
        yield f'<tr><td>{row.label}</td><td class="n">{count} T</td><td>{times}</td></tr>'
    yield "</table>"
