"""``emu85 rehearse``: files and folders of rehearsals performed one after another."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from emu85.board import shelf
from emu85.errors import Place, UserError
from emu85.rehearsal import rehearse
from emu85.rehearsal.junit import Outcome, write_junit
from emu85.rehearsal.lines import FORMS
from emu85.rehearsal.report import report, shortened, summary
from emu85.rehearsal.script import KEYS, SUFFIX, parts_among
from emu85.rehearsal.verdict import Verdict
from emu85.wording import counted

PASSED, FAILED, UNREADABLE = 0, 1, 2
"""Exit statuses."""


def rehearse_all(
    names: Sequence[str], *, firmware: str | None = None, junit: str | None = None
) -> int:
    """Perform rehearsals, with a line of progress for each, and what differs below it.

    Args:
        names: files, those of the demo firmware too, and folders in which every
            rehearsal is performed; what has no heading and is included by one is none.
        firmware: what is burnt instead of the firmware they name.
        junit: a file for the verdicts as XML.

    Returns:
        0 if all passed, 1 if one failed, 2 if one could not be performed.

    Raises:
        UserError: a name that is neither file nor folder, or a file that cannot be written.
    """
    paths = list(_files(names))
    if junit is not None and Path(junit).resolve() in {path.resolve() for path in paths}:
        raise UserError(f"the XML would be written over a rehearsal, {junit}")
    outcomes: list[Outcome] = []
    for path in paths:
        verdict = _performed(path, firmware)
        outcomes.append((path, verdict))
    if junit is not None:
        write_junit(Path(junit), outcomes)
    status = max(map(_status, outcomes))
    if len(outcomes) > 1:
        print(_total(outcomes))
    return status


def _files(names: Sequence[str]) -> Iterator[Path]:
    for name in names:
        path = Path(name)
        if not path.is_dir():
            yield shelf.named_file(name)
            continue
        files = sorted(path.rglob(f"*{SUFFIX}"))
        parts = parts_among(files)
        found = [file for file in files if file not in parts]
        if not found:
            raise UserError(
                "no rehearsal in this folder", Place(name), expected=f"files that end in {SUFFIX}"
            )
        yield from found


def _performed(path: Path, firmware: str | None) -> Verdict | UserError:
    is_terminal = sys.stdout.isatty()
    if is_terminal:
        print(f"{shortened(str(path))}  …", end="\r", flush=True)
    try:
        verdict = rehearse(path, firmware=firmware)
    except UserError as error:
        print(f"{shortened(str(path))}  cannot be performed", flush=True)
        print(f"emu85: {error}", file=sys.stderr, flush=True)
        return error
    print(summary(verdict), flush=True)
    if not verdict.passed:
        print(report(verdict), flush=True)
    return verdict


def _status(one: Outcome) -> int:
    if isinstance(one[1], UserError):
        return UNREADABLE
    return PASSED if one[1].passed else FAILED


def _total(outcomes: Sequence[Outcome]) -> str:
    statuses = list(map(_status, outcomes))
    parts = [f"{statuses.count(PASSED)} passed"]
    if FAILED in statuses:
        parts.append(f"{statuses.count(FAILED)} failed")
    if UNREADABLE in statuses:
        parts.append(f"{statuses.count(UNREADABLE)} could not be performed")
    return f"{counted(len(outcomes), 'rehearsal')}: {', '.join(parts)}"


def lines_text() -> str:
    """What may stand in a rehearsal: the heading, and the lines of its own."""
    text = ["Heading, a line each, 'rehearsal:' first and 'board:' needed:"]
    text += [f"  {key + ': …':<14} {about}" for key, about in KEYS.items()]
    text.append("Then console lines as they are typed, 'include FILE', and:")
    for form in FORMS:
        text.append(f"  {form.usage:<41} {form.summary}")
        text += [f"      {line.rstrip()}" for line in form.detail.splitlines()]
    text.append(
        "In a text * stands for any characters, ? for one; \\* \\? \\\\ for themselves,\n"
        "\\r \\n \\t \\x1B for control characters. # begins a comment."
    )
    return "\n".join(text)
