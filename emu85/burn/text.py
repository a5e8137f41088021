"""The report for the terminal, at most 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence

from emu85.board.quantities import size_text
from emu85.burn.areas import WORDS, Area, Use
from emu85.burn.report import CAUTIONS, Report, RunRow
from emu85.burn.verdict import CheckDone, Result
from emu85.profile.latency import latency_text
from emu85.wording import counted

_WIDTH = 80
_MOST_PLACES = 12
"""Notes of one check, and areas of one use, that are told; the other reports have all."""


def write_text(report: Report) -> str:
    """The report, ending with a line end."""
    parts = [
        _head(report),
        _chips(report),
        _vectors(report),
        _map(report),
        _run(report.run) if report.run else "",
        _checks(report.checks),
        "\n".join(["Cautions", *(_hang("  ", caution) for caution in CAUTIONS)]),
        "\n".join(_ending(report)),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _ending(report: Report) -> Iterator[str]:
    if report.unreached:
        yield f"Note: {report.unreached}"
    yield f"Verdict: {report.verdict}"


def _head(report: Report) -> str:
    chip = f", into {report.wanted_part}" if report.wanted_part else ""
    return _hang("", f"Burn check of {report.image} for {report.board}{chip}")


def _chips(report: Report) -> str:
    lines = ["Chips, and sums over every byte of each"]
    for chip in report.chips:
        lines.append(
            f"  {chip.name}: {chip.part}, {chip.range}, {chip.used} of {size_text(chip.size)} given"
        )
        lines += _sums(chip.sums)
    if report.together:
        lines += ["  all of them, one after another", *_sums(report.together)]
    return "\n".join(lines) if report.chips else ""


def _sums(sums: Mapping[str, str]) -> list[str]:
    return [f"    {name:<26}{value}" for name, value in sums.items()]


def _vectors(report: Report) -> str:
    rows = ["Vectors"]
    for row in report.vectors:
        rows.append(f"  {row.address:04X}  {row.name:<8} {row.holds:<22} {row.reached}".rstrip())
    return "\n".join(rows)


def _map(report: Report) -> str:
    lines = ["Map of the chips' bytes"]
    for use in (Use.CODE, Use.DATA, Use.UNREACHED, Use.BLANK):
        lines.append(f"  {WORDS[use]:<14} {report.total(use):>5}")
        if use in (Use.UNREACHED, Use.BLANK):
            spans = [area for area in report.areas if area.use is use]
            lines += _spans(spans, " ") if spans else []
    lines.append(f"  code by flow from reset, inputs and named entries: {report.static_bytes}")
    if report.run_bytes:
        lines.append(f"  and from what the run has executed: {report.run_bytes}")
    lines += _listed("goes where nothing tells (name its targets by --entry)", report.unknown)
    lines += _listed("no way back was found from the routine called", report.unfollowed)
    return "\n".join(lines)


def _spans(areas: Sequence[Area], separator: str) -> list[str]:
    """The largest, in order of address."""
    largest = sorted(areas, key=lambda area: -area.size)[:_MOST_PLACES]
    shown = [_span(area) for area in sorted(largest, key=lambda area: area.low)]
    if len(areas) > len(shown):
        shown.append(f"and {counted(len(areas) - len(shown), 'smaller area')}")
    return [_hang("      ", separator.join(shown))]


def _span(area: Area) -> str:
    high = f"-{area.high:04X}" if area.high > area.low else ""
    return f"{area.low:04X}{high} {area.symbol}".rstrip()


def _listed(about: str, places: Sequence[str]) -> list[str]:
    if not places:
        return []
    shown = list(places[:_MOST_PLACES])
    if len(places) > len(shown):
        shown.append(f"and {len(places) - len(shown)} more")
    return [f"  {about}:", *(f"      {place}" for place in shown)]


def _run(run: RunRow) -> str:
    cycles = counted(run.records, "machine cycle")
    share = f"{100 * run.executed / run.code:.1f} %" if run.code else "none"
    lines = [
        _hang("Run: ", f"{run.about}, {run.t_states} T-states, {cycles}"),
        f"  code executed  {run.executed} of {counted(run.code, 'byte')}, {share}",
    ]
    if run.missed:
        lines += ["  not executed", *_spans(run.missed, ", ")]
    for stack in run.stacks:
        lines.append(
            f"  stack          {stack.low:04X}-{stack.high:04X}: deepest {stack.deepest:04X}, "
            f"{counted(stack.used, 'byte')} used, {stack.left} left"
        )
    for row in run.latencies:
        lines.append(_hang(f"  {row.line:<14} ", latency_text(row)))
    if not run.complete:
        lines.append("  part of the run was not seen: the figures are lower bounds")
    return "\n".join(lines)


def _checks(checks: Sequence[CheckDone]) -> str:
    """Those that found something at length, then the names of the others."""
    lines = ["Checks"]
    for result in (Result.FAULT, Result.LOOK, Result.ACCEPTED):
        for check in checks:
            if check.result is result:
                lines += _check(check)
    good = [check.name for check in checks if check.result is Result.GOOD]
    lines.append(_hang(f"  {Result.GOOD.mark} {Result.GOOD.word:<12} ", ", ".join(good)))
    lines += _not_checked(checks)
    return "\n".join(lines)


def _not_checked(checks: Sequence[CheckDone]) -> Iterator[str]:
    by_reason: dict[str, list[str]] = {}
    for check in checks:
        if check.result is Result.NOT_CHECKED:
            by_reason.setdefault(check.why, []).append(check.name)
    head = f"  {Result.NOT_CHECKED.mark} {Result.NOT_CHECKED.word:<12} "
    for why, names in by_reason.items():
        yield _hang(head, f"{why}: {', '.join(names)}")


def _check(check: CheckDone) -> Iterator[str]:
    result = check.result
    yield f"  {result.mark} {result.word:<12} {check.name}: {check.about}"
    for note in check.notes[:_MOST_PLACES]:
        place = f"{note.place}: " if note.place else ""
        yield _hang(f"      {note.result.mark} ", f"{place}{note.text}")
    if len(check.notes) > _MOST_PLACES:
        yield f"      and {len(check.notes) - _MOST_PLACES} more"


def _hang(head: str, text: str) -> str:
    return textwrap.fill(
        text,
        _WIDTH,
        initial_indent=head,
        subsequent_indent=" " * len(head),
        break_on_hyphens=False,
    )
