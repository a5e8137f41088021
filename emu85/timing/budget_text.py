"""The budget as text for a terminal, at most 80 columns wide, and as the sums one by one."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from fractions import Fraction

from emu85.board import schema
from emu85.board.quantities import hertz_text
from emu85.timing.ac_table import Limit
from emu85.timing.budget import NS, Budget, Place, Sum
from emu85.wording import counted

WIDTH = 80
_ROW = 57
"""Columns before the figures of a sum."""
ROUNDED = "To 0.1 ns: what is given and what is left are rounded down, what is needed up."
DEFER = (
    "These are sums of figures and no measurement. For a design defer to the data sheets of the "
    "very parts, their loads and temperatures included."
)


def write_text(budget: Budget) -> str:
    """The whole budget."""
    blocks = [head(budget), *(place_lines(budget, place) for place in budget.places)]
    if budget.board_sums:
        blocks.append(["The board itself", *_table(budget.board_sums)])
    blocks.append(foot(budget))
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def head(budget: Budget) -> list[str]:
    """Which part at which clock."""
    part = budget.part
    lines = [
        f"{budget.board}: memory access of an {part.name}",
        f"  crystal {hertz_text(budget.crystal)}, CLK {hertz_text(budget.crystal / 2)}, "
        f"T = {_nearest(budget.t)} ns",
    ]
    if budget.delays:
        stated = ", ".join(f"{key} {_plain(ns)}" for key, ns in budget.delays.items())
        lines += _wrapped(f"delays in ns: {stated}", "  ")
    if not budget.within_part:
        lines += _wrapped(
            f"An {part.name} is not made for this clock: its T is {part.t_cyc_min} to "
            f"{part.t_cyc_max} ns, a crystal of {hertz_text(Fraction(2 * NS, part.t_cyc_max))} "
            f"to {hertz_text(Fraction(part.crystal_max))}.",
            "  ",
        )
    return lines


def place_lines(budget: Budget, place: Place) -> list[str]:
    """A chip or device: its sums, and what comes of them."""
    title = f"{place.name}: {place.about}, {place.where}, {counted(place.waits, 'wait state')}"
    lines = _wrapped(title, "")
    if place.latched:
        lines.append("  on AD0-AD7 itself: no latch and no buffer counts")
    return [*lines, *_table(place.sums), *_wrapped(verdict(place), "  "), _fastest(budget, place)]


def verdict(place: Place) -> str:
    """What is tight, and whether the wait states suffice."""
    tight = place.tightest
    text = f"Tightest: {tight.path.name}, {_slack(tight.slack)} ns. "
    needed = place.waits_needed
    if needed is None:
        short = [one.path.name for one in place.sums if one.waits_needed is None]
        return text + f"Wait states cannot help {_listed(short)}."
    if not needed:
        return text + "It needs no wait states."
    enough = "enough" if place.waits >= needed else "not enough"
    return text + f"It needs {counted(needed, 'wait state')}; {place.waits} in the file: {enough}."


def foot(budget: Budget) -> list[str]:
    """What holds for all of it."""
    lines: list[str] = []
    sums = list(budget.all_sums())
    if not sums:
        lines += _wrapped("The board file states no times, so that no sum can be made.", "")
    else:
        short = sum(one.slack < 0 for one in sums)
        lines.append(
            f"In all: {counted(short, 'path')} of {len(sums)} too slow."
            if short
            else f"In all: {counted(len(sums), 'path')}, and time enough on each."
        )
        lines += _wrapped(f"Fastest crystal with these wait states: {_fastest_of_all(budget)}.", "")
    if budget.unstated:
        lines += _wrapped(f"Not stated and taken as 0 ns: {', '.join(budget.unstated)}.", "")
    missing = [f"{one.name} {', '.join(one.missing)}" for one in budget.places if one.missing]
    if missing:
        lines += _wrapped(f"Times not stated, so no sums of them: {'; '.join(missing)}.", "")
    if budget.untimed:
        lines += _wrapped(f"No times stated, so no sums: {', '.join(budget.untimed)}.", "")
    lines += _wrapped(f"Limits of the CPU: {budget.part.source}.", "")
    lines += _wrapped(ROUNDED, "") if sums else []
    return lines + _wrapped(DEFER, "")


def explain(budget: Budget, name: str) -> str:
    """Every sum of a chip or device, or of the ``board`` itself, line by line.

    Raises:
        UserError: nothing of that name has sums.
    """
    if budget.is_board(name.strip()):
        sums, title = budget.board_sums, ["The board itself"]
    else:
        place = budget.place(name)
        sums, title = place.sums, place_lines(budget, place)[:1]
    crystal = hertz_text(budget.crystal)
    intro = [
        *title,
        f"  crystal {crystal}; CLK is half of it, and T = 2 / {crystal} = {_nearest(budget.t)} ns",
        *_wrapped(ROUNDED, "  "),
    ]
    blocks = [intro, *(list(_explained(one)) for one in sums), _wrapped(DEFER, "")]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _explained(one: Sum) -> Iterator[str]:
    yield f"{one.path.name[0].upper()}{one.path.name[1:]}"
    yield from _wrapped(one.path.why, "  ")
    for limit in one.limits:
        yield from _wrapped(f"{limit.symbol} = {limit.formula}: {limit.about}", "  ")
        yield from _limit_rows(limit, one)
    if len(one.limits) > 1:
        yield _row("what the CPU gives", one.given)
    for key, ns in one.delays.items():
        yield _row(f"less {_about(key)}", -ns)
    for key in one.unstated:
        yield _row(f"less {key}: not stated", Fraction(0))
    yield _row(f"less {_about(one.time_of)}", -one.time)
    yield _row("slack" if one.slack >= 0 else "slack: so much is missing", one.slack)
    yield from _wrapped(_conclusion(one), "  ")


def _limit_rows(limit: Limit, one: Sum) -> Iterator[str]:
    if not limit.halves:
        yield _row(limit.symbol, Fraction(limit.constant))
        return
    waits = one.waits if limit.waits else 0
    factor = Fraction(limit.halves, 2) + waits
    times = f"({limit.halves}/2+{waits})" if limit.waits else f"({limit.halves}/2)"
    yield _row(f"{times} x {_nearest(one.t)}", factor * one.t)
    yield _row("less" if limit.constant < 0 else "and", Fraction(limit.constant))
    yield _row(limit.symbol, limit.ns(one.t, one.waits))
    if limit.basis == "scaled":
        yield "    (printed as a number for one clock; the formula is ours, made to give it)"


def _conclusion(one: Sum) -> str:
    if not one.waits_help:
        return "No wait state changes this; a slower crystal does." if one.slack < 0 else ""
    if one.slack >= 0 and not one.waits:
        return ""
    needed = counted(one.waits_needed, "wait state") if one.waits_needed else "none"
    return f"Each wait state adds T = {_nearest(one.t)} ns; needed: {needed}."


def _about(key: str) -> str:
    """What a key of the board file stands for."""
    about = next(one.about for one in (*schema.DELAYS, *schema.TIMES) if one.name == key)
    return f"{key} ({about.split(',')[0]})"


def _row(text: str, ns: Fraction) -> str:
    """A figure in its column, the last line of a text that is too long before it."""
    *above, last = textwrap.wrap(text, _ROW, subsequent_indent="  ") or [""]
    return "".join(f"    {line}\n" for line in above) + f"    {last:<{_ROW}}{_slack(ns):>10}"


def _table(sums: Sequence[Sum]) -> list[str]:
    head = f"  {'path':<21}{'CPU gives':<10}{'ns':>8}{'needed':>9}{'slack':>9}  waits needed"
    return [head, *(_table_row(one) for one in sums)]


def _table_row(one: Sum) -> str:
    gives = "+".join(one.path.limits)
    needed = one.waits_needed
    waits = "none help" if needed is None else str(needed)
    missing = "  missing" if one.slack < 0 else ""
    numbers = f"{_ns(one.given):>8} {_up(one.needed):>8} {_slack(one.slack):>8}"
    return f"  {one.path.name:<21}{gives:<10}{numbers}  {waits:<9}{missing}".rstrip()


def _fastest(budget: Budget, place: Place) -> str:
    fastest = budget.fastest_of(place)
    waits = counted(place.waits, "wait state")
    if fastest is None:
        return f"  No crystal that the part is made for is slow enough with {waits}."
    return f"  Fastest crystal with {waits}: {_with_limit(budget, fastest)}."


def _fastest_of_all(budget: Budget) -> str:
    fastest = budget.fastest_crystal
    return "none that the part is made for" if fastest is None else _with_limit(budget, fastest)


def _with_limit(budget: Budget, fastest: Fraction) -> str:
    own = fastest == budget.part.crystal_max
    return _crystal(fastest) + (", the part's own limit" if own else "")


def _crystal(hertz: Fraction) -> str:
    """Rounded down to kilohertz, so that it is no faster than may be."""
    return hertz_text(Fraction(math.floor(hertz / 1000) * 1000))


def _nearest(ns: Fraction) -> str:
    """A T-state, which is neither given nor needed."""
    return f"{float(ns):.1f}"


def _ns(ns: Fraction) -> str:
    return f"{_tenths(ns) / 10:.1f}"


def _plain(ns: Fraction) -> str:
    return f"{float(ns):g}"


def _slack(ns: Fraction) -> str:
    return f"{_tenths(ns) / 10:+.1f}"


def _tenths(ns: Fraction) -> int:
    """Rounded down, so that nothing is shown as more than there is."""
    return math.floor(ns * 10)


def _up(ns: Fraction) -> str:
    return f"{math.ceil(ns * 10) / 10:.1f}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
