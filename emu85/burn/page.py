"""The report as one HTML page that needs nothing else and prints well in black and white.

Every result has its mark and its word, so nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from html import escape

from emu85.burn.areas import WORDS, Use
from emu85.burn.report import CAUTIONS, Report, RunRow
from emu85.burn.verdict import CheckDone, Result
from emu85.profile.latency import latency_text

_STYLE = """
body { font: 15px/1.4 Georgia, serif; color: #111; background: #fff; margin: 2em auto;
  max-width: 60em; padding: 0 1em }
h1 { font-size: 1.5em; margin-bottom: .2em } h2 { font-size: 1.1em; margin: 1.6em 0 .4em }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: .15em .8em .15em 0;
  border-bottom: 1px solid #bbb }
td.n { text-align: right } code, td.c { font-family: monospace; font-size: .93em }
.verdict { border: 3px solid #111; padding: .5em .8em; font-size: 1.2em; font-weight: bold }
.notfit { border-style: double; border-width: 7px }
tr.fault td { font-weight: bold; background: #f3dcdc } tr.look td { background: #f6f0d5 }
td.bar { width: 40% } .bar span { display: inline-block; height: .8em; border: 1px solid #111 }
ul { margin: .2em 0; padding-left: 1.2em } .caution { border-left: 5px solid #111;
  padding-left: .8em }
@media print { body { margin: 0; max-width: none; font-size: 10pt } tr { break-inside: avoid }
  tr td { background: none !important } }
"""
_PATTERNS = {
    Use.CODE: "#111",
    Use.DATA: "repeating-linear-gradient(45deg,#111 0 2px,#fff 2px 5px)",
    Use.UNREACHED: "repeating-linear-gradient(90deg,#111 0 1px,#fff 1px 6px)",
    Use.BLANK: "#fff",
}


def write_page(report: Report) -> str:
    """The page's text, to be written as UTF-8."""
    title = f"Burn check: {report.image}"
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
            *_head(report),
            *_checks(report.checks),
            *_chips(report),
            *_map(report),
            *_vectors(report),
            *(_run(report.run) if report.run else ()),
            "<h2>Cautions</h2>",
            *(f'<p class="caution">{escape(caution)}</p>' for caution in CAUTIONS),
            "</body></html>",
            "",
        ]
    )


def _head(report: Report) -> Iterator[str]:
    chip = f", into {report.wanted_part}" if report.wanted_part else ""
    yield "<h1>Burn check</h1>"
    yield f"<p>{escape(report.image)} for the board {escape(report.board)}{escape(chip)}</p>"
    kind = "verdict" if report.is_fit else "verdict notfit"
    yield f'<p class="{kind}">{escape(report.verdict)}</p>'
    if report.unreached:
        yield f"<p>{escape(report.unreached)}.</p>"


def _checks(checks: Iterable[CheckDone]) -> Iterator[str]:
    yield "<h2>Checks</h2><table><tr><th>Result</th><th>Check</th><th>Asks that</th></tr>"
    for check in checks:
        result = check.result
        kind = {Result.FAULT: ' class="fault"', Result.LOOK: ' class="look"'}.get(result, "")
        why = f" ({check.why})" if check.why else ""
        yield (
            f"<tr{kind}><td>{escape(result.mark)} {escape(result.word)}</td>"
            f'<td class="c">{escape(check.name)}</td><td>{escape(check.about + why)}'
        )
        if check.notes:
            yield "<ul>"
            for note in check.notes:
                place = f"<code>{escape(note.place)}</code>: " if note.place else ""
                yield f"<li>{note.result.mark} {place}{escape(note.text)}</li>"
            yield "</ul>"
        yield "</td></tr>"
    yield "</table>"


def _chips(report: Report) -> Iterator[str]:
    for chip in report.chips:
        yield f"<h2>Chip {escape(chip.name)}</h2><table>"
        rows = {
            "part": chip.part,
            "addresses on the board": chip.range,
            "bytes": f"{chip.used} of {chip.size} given, the rest {report.fill:02X}",
            **chip.sums,
        }
        yield from _values(rows)
    if report.together:
        yield "<h2>All chips, one after another</h2><table>"
        yield from _values(report.together)


def _values(rows: Mapping[str, str]) -> Iterator[str]:
    for name, value in rows.items():
        yield f'<tr><td>{escape(name)}</td><td class="c">{escape(value)}</td></tr>'
    yield "</table>"


def _map(report: Report) -> Iterator[str]:
    yield "<h2>Map of the chips' bytes</h2><table>"
    whole = max(1, sum(area.size for area in report.areas))
    for use in (Use.CODE, Use.DATA, Use.UNREACHED, Use.BLANK):
        total = report.total(use)
        share = 100 * total / whole
        bar = f'<span style="width:{share:.1f}%;background:{_PATTERNS[use]}"></span>'
        yield (
            f'<tr><td>{WORDS[use]}</td><td class="n">{total}</td>'
            f'<td class="n">{share:.1f} %</td><td class="bar">{bar}</td></tr>'
        )
    yield "</table><table><tr><th>Addresses</th><th>Bytes</th><th>Use</th></tr>"
    for area in report.areas:
        yield (
            f'<tr><td class="c">{area.low:04X}-{area.high:04X}</td>'
            f'<td class="n">{area.size}</td><td>{WORDS[area.use]}</td></tr>'
        )
    yield "</table>"
    yield from _places("Goes where nothing tells", report.unknown)
    yield from _places("No way back was found from the routine called", report.unfollowed)


def _places(title: str, places: Iterable[str]) -> Iterator[str]:
    items = [f"<li><code>{escape(place)}</code></li>" for place in places]
    if items:
        yield f"<p>{title}:</p><ul>"
        yield from items
        yield "</ul>"


def _vectors(report: Report) -> Iterator[str]:
    yield "<h2>Vectors</h2><table>"
    for row in report.vectors:
        cells = (f"{row.address:04X}", row.name, row.holds, row.reached)
        yield "<tr>" + "".join(f'<td class="c">{escape(cell)}</td>' for cell in cells) + "</tr>"
    yield "</table>"


def _run(run: RunRow) -> Iterator[str]:
    yield f"<h2>Run</h2><p>{escape(run.about)}: {run.t_states} T-states, "
    yield f"{run.records} machine cycles"
    if not run.complete:
        yield "; part of it was not seen, so the figures are lower bounds"
    yield f"</p><p>Code executed: {run.executed} of {run.code} bytes.</p>"
    missed = (f"{one.low:04X}-{one.high:04X} {one.symbol}" for one in run.missed)
    yield from _places("Not executed", missed)
    yield "<table>"
    for stack in run.stacks:
        region = f"<code>{stack.low:04X}-{stack.high:04X}</code>"
        yield f"<tr><td>stack {region}</td><td>deepest <code>{stack.deepest:04X}</code>, "
        yield f"{stack.used} bytes used, {stack.left} left</td></tr>"
    for row in run.latencies:
        yield f"<tr><td>{escape(row.line)}</td><td>{escape(latency_text(row))}</td></tr>"
    yield "</table>"
