"""The report as text for a terminal, at most 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import TypeVar

from emu85.board.quantities import seconds_text
from emu85.profile.latency import latency_text
from emu85.profile.report import InterruptRow, LabelRow, PortRow, Report, RoutineRow
from emu85.wording import counted, cut

Row = TypeVar("Row")
WIDTH = 80
MOST = 20
"""Rows of a table, unless all are asked for."""


def write_text(report: Report, most: int | None = MOST) -> str:
    """The whole report.

    Args:
        most: rows of routines and of labels; None for all.
    """
    parts = [
        head(report),
        routines(report, most),
        each_call(report, most),
        labels(report, most),
        interrupts(report),
        ports(report),
        waiting(report),
        _coverage(report),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def head(report: Report) -> list[str]:
    """What ran, how long, and what is amiss with the figures."""
    title = f"Where the time goes: {report.firmware or 'memory as it was'} on {report.board}"
    figures = report.figures
    seconds = seconds_text(Fraction(report.t_states) / Fraction(report.clock_hz))
    cycles = counted(figures.routines.records, "machine cycle")
    about = f"{report.about}; " if report.about else ""
    text = f"{about}{counted(report.t_states, 'T-state')} ({seconds}), {cycles}"
    lines = [title, *_wrapped(text)]
    if figures.note:
        lines += _wrapped(figures.note)
    if not figures.complete:
        lines += _wrapped("part of it was not seen, so counts are lower bounds")
    for failure in report.failures:
        lines += _wrapped(f"not as expected: {failure}")
    return lines


def routines(report: Report, most: int | None = MOST) -> list[str]:
    """Own time and time with callees."""
    rows, rest = _first(report.routines, most)
    columns = f"{'calls':>9} {'own T':>11} {'share':>7} {'with callees':>14} share"
    lines = [f"{'Routines':<29} {columns}"]
    for name, spent in rows:
        own, whole = report.share(spent.own), report.share(spent.whole)
        lines.append(
            f"  {cut(name, 27):<27} {spent.calls:>9} {spent.own:>11} {own:>6.1f}% "
            f"{spent.whole:>14} {whole:>4.0f}%"
        )
    if rest:
        others = sum(spent.own for _, spent in rest)
        more = f"{len(rest)} more"
        lines.append(f"  {more:<27} {'':>9} {others:>11} {report.share(others):>6.1f}%")
    total = sum(spent.own for _, spent in report.routines)
    lines.append(f"  {'together':<27} {'':>9} {total:>11} {report.share(total):>6.1f}%")
    return lines


def each_call(report: Report, most: int | None = MOST) -> list[str]:
    """What one call takes."""
    over = [row for row in report.routines if row.spent.over]
    rows, rest = _first(over, most)
    if not rows:
        return []
    columns = f"{'least T':>12} {'mean T':>14} {'most T':>11}  {'not by RET':>10}"
    lines = [f"{'A call, with callees':<28}{columns}"]
    lines += [_call_line(row) for row in rows]
    if rest:
        lines.append(f"  {len(rest)} more")
    return lines


def _call_line(row: RoutineRow) -> str:
    name, spent = row
    left = str(spent.left) if spent.left else ""
    return (
        f"  {cut(name, 26):<26}{spent.least:>12} {spent.mean:>14.1f} {spent.most:>11}  {left:>10}"
    ).rstrip()


def labels(report: Report, most: int | None = MOST) -> list[str]:
    """The time of the code from each label to the next."""
    rows, rest = _first(report.labels, most)
    if not rows:
        return []
    lines = [f"{'Code from a label to the next':<39} {'times':>12} {'T':>12} {'share':>7}"]
    lines += [_label_line(report, row) for row in rows]
    if rest:
        t_states = sum(row.t_states for row in rest)
        more = f"{len(rest)} more"
        lines.append(f"  {more:<37} {'':>12} {t_states:>12} {report.share(t_states):>6.1f}%")
    return lines


def _label_line(report: Report, row: LabelRow) -> str:
    name = cut(row.text, 37)
    return f"  {name:<37} {row.times:>12} {row.t_states:>12} {report.share(row.t_states):>6.1f}%"


def interrupts(report: Report) -> list[str]:
    """Services and how long they waited."""
    if not report.interrupts:
        return []
    lines = [f"{'Interrupts':<12} {'services':>9} {'T':>12} {'share':>7} {'least T':>10}"
             f" {'mean T':>12} {'most T':>10}"]  # fmt: skip
    for row in report.interrupts:
        lines += _interrupt_lines(report, row)
    return lines


def _interrupt_lines(report: Report, row: InterruptRow) -> Iterator[str]:
    yield (
        f"  {row.line:<10} {row.services:>9} {row.t_states:>12} "
        f"{report.share(row.t_states):>6.1f}%"
        + (f" {row.least:>10} {row.mean:>12.1f} {row.most:>10}" if row.most else "")
    )
    if row.latency is not None:
        yield from _wrapped(latency_text(row.latency), "    ")


def ports(report: Report) -> list[str]:
    """I/O cycles by port."""
    if not report.ports:
        return []
    lines = [f"{'Ports':<29} {'read':>12} {'written':>12} {'T':>12} {'share':>7}"]
    lines += [_port_line(report, row) for row in report.ports]
    return lines


def _port_line(report: Report, row: PortRow) -> str:
    name = cut(f"{row.port:02X} {row.device or '-- nothing answers'}", 27)
    share = report.share(row.t_states)
    return f"  {name:<27} {row.reads:>12} {row.writes:>12} {row.t_states:>12} {share:>6.1f}%"


def waiting(report: Report) -> list[str]:
    """Wait states, halts and holds."""
    counts = report.figures.routines
    lines = ["Waiting"]
    rows = [("halted", counts.halt_t), ("on hold", counts.hold_t), ("wait states", counts.wait_t)]
    for what, t_states in rows:
        if t_states:
            lines.append(f"  {what:<53} {t_states:>14} {report.share(t_states):>6.1f}%")
    for row in report.waits:
        lines.append(f"    {cut(row.name, 51):<51} {row.t_states:>14}")
    if counts.master_cycles:
        lines.append(f"  {'bus cycles of another bus master':<53} {counts.master_cycles:>14}")
    return lines if lines[1:] else ["No halt, no hold, no wait state."]


def _coverage(report: Report) -> list[str]:
    if not report.code:
        return []
    share = 100 * report.executed / report.code
    return [f"Executed: {report.executed} of {report.code} bytes of instructions, {share:.1f} %"]


def _first(rows: Sequence[Row], most: int | None) -> tuple[Sequence[Row], Sequence[Row]]:
    """The first rows, and the others; a single other one is not worth a line of its own."""
    if most is None or len(rows) <= most + 1:
        return rows, []
    return rows[:most], rows[most:]


def _wrapped(text: str, indent: str = "  ") -> Iterable[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")
