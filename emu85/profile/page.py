"""The report as one HTML page that needs nothing else and prints well in black and white."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape

from emu85.profile import text
from emu85.profile.latency import latency_text
from emu85.profile.lines import NEVER, CountedLine, time_text
from emu85.profile.plot import write_plot
from emu85.profile.report import InterruptRow, Report
from emu85.profile.routines import Spent

_STYLE = """
body { font: 15px/1.4 Georgia, serif; color: #111; background: #fff; margin: 2em auto;
  max-width: 64em; padding: 0 1em }
h1 { font-size: 1.5em; margin-bottom: .2em } h2 { font-size: 1.1em; margin: 1.6em 0 .4em }
table { border-collapse: collapse; width: 100% }
th, td { text-align: right; vertical-align: top; padding: .1em .5em; border-bottom: 1px solid #bbb }
th:first-child, td:first-child { text-align: left; font-family: monospace }
table.code td { font-family: monospace; font-size: .85em; border: 0; padding: 0 .6em }
table.code td:last-child { text-align: left; white-space: pre }
tr.never td { background: #eee; font-style: italic } svg { width: 100%; height: auto }
@media print { body { margin: 0; max-width: none; font-size: 10pt } tr { break-inside: avoid } }
"""
Cells = Iterable[object]


def write_page(report: Report, lines: Sequence[CountedLine]) -> str:
    """The page's text, to be written as UTF-8.

    Args:
        lines: the listing; may be empty.
    """
    title, *about = text.head(report)
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        *(f"<p>{escape(line.strip())}</p>" for line in about),
        "<h2>T-states by routine</h2>",
        write_plot(report),
        *_tables(report),
        *_listing(report, lines),
        "</body></html>",
        "",
    ]
    return "\n".join(parts)


def _each(one: Spent | InterruptRow) -> tuple[object, object, object]:
    """Least, mean and most of a call; nothing if none is over yet."""
    return (one.least, f"{one.mean:.1f}", one.most) if one.most else ("", "", "")


def _tables(report: Report) -> Iterator[str]:
    yield from _table(
        "Routines",
        ("", "calls", "own T", "share", "with callees T", "share", "least T", "mean T", "most T",
         "not by RET"),
        (
            (name, one.calls, one.own, _share(report, one.own), one.whole,
             _share(report, one.whole), *_each(one), one.left)
            for name, one in report.routines
        ),
    )  # fmt: skip
    yield from _table(
        "Code from a label to the next",
        ("", "times", "T", "share"),
        (
            (row.text, row.times, row.t_states, _share(report, row.t_states))
            for row in report.labels
        ),
    )
    yield from _table(
        "Interrupts",
        ("", "services", "T", "share", "least T", "mean T", "most T", "waits"),
        (
            (row.line, row.services, row.t_states, _share(report, row.t_states), *_each(row),
             latency_text(row.latency) if row.latency else "")
            for row in report.interrupts
        ),
    )  # fmt: skip
    yield from _table(
        "Ports",
        ("", "read", "written", "T", "share"),
        (
            (f"{row.port:02X} {row.device}", row.reads, row.writes, row.t_states,
             _share(report, row.t_states))
            for row in report.ports
        ),
    )  # fmt: skip
    counts = report.figures.routines
    waits = [("halted", counts.halt_t), ("on hold", counts.hold_t), ("wait states", counts.wait_t)]
    waits += [(f"wait states of {row.name}", row.t_states) for row in report.waits]
    yield from _table(
        "Waiting", ("", "T", "share"), ((name, t, _share(report, t)) for name, t in waits)
    )


def _table(title: str, head: Sequence[str], rows: Iterable[Cells]) -> Iterator[str]:
    done = ["".join(f"<td>{escape(str(cell))}</td>" for cell in row) for row in rows]
    if not done:
        return
    yield f"<h2>{escape(title)}</h2><table><tr>"
    yield "".join(f"<th>{escape(cell)}</th>" for cell in head) + "</tr>"
    yield from (f"<tr>{cells}</tr>" for cells in done)
    yield "</table>"


def _listing(report: Report, lines: Sequence[CountedLine]) -> Iterator[str]:
    if not lines:
        return
    share = f", {100 * report.executed / report.code:.1f} %" if report.code else ""
    yield "<h2>Listing</h2>"
    yield f"<p>{report.executed} of {report.code} bytes of instructions executed{share}; "
    yield f"lines with the word <i>{NEVER}</i> were never reached.</p>"
    yield f"<p>{time_text(lines, report.figures.execution)}.</p>"
    yield '<table class="code"><tr><th>times</th><th>T-states</th><th></th></tr>'
    for line in lines:
        kind = ' class="never"' if line.times == 0 else ""
        times = "" if line.times is None else line.times or NEVER
        spent = line.t_states if line.times else ""
        yield f"<tr{kind}><td>{times}</td><td>{spent}</td><td>{escape(line.text)}</td></tr>"
    yield "</table>"


def _share(report: Report, t_states: int) -> str:
    return f"{report.share(t_states):.1f} %"
