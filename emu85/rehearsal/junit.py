"""Verdicts as JUnit XML, which build servers read.

There is no published standard of the format; the elements and attributes are those
that are in common use: ``testsuites``, ``testsuite``, ``testcase``, ``failure``,
``error``.  ``time`` is board time in seconds, so that the same verdicts give the same
file.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

from emu85.errors import UserError
from emu85.firmware import atomic_write
from emu85.rehearsal.report import report
from emu85.rehearsal.verdict import Verdict

Outcome = tuple[Path, Verdict | UserError]
"""A rehearsal's file, and what came of it: a mistake if it could not be performed."""


def junit(outcomes: Sequence[Outcome]) -> str:
    """The text of the XML file."""
    verdicts = [verdict for _, verdict in outcomes if isinstance(verdict, Verdict)]
    counts = {
        "tests": str(len(outcomes)),
        "failures": str(sum(not verdict.passed for verdict in verdicts)),
        "errors": str(len(outcomes) - len(verdicts)),
        "time": f"{sum(verdict.seconds for verdict in verdicts):.6f}",
    }
    root = ElementTree.Element("testsuites", {"name": "emu85 rehearse", **counts})
    suite = ElementTree.SubElement(root, "testsuite", {"name": "rehearsals", **counts})
    for path, verdict in outcomes:
        _case(suite, path, verdict)
    ElementTree.indent(root)
    return ElementTree.tostring(root, "unicode", xml_declaration=False) + "\n"


def write_junit(path: Path, outcomes: Sequence[Outcome]) -> None:
    """Write the XML file as a whole or not at all.

    Raises:
        UserError: it cannot be written.
    """
    atomic_write(path, '<?xml version="1.0" encoding="UTF-8"?>\n' + junit(outcomes))


def _case(suite: ElementTree.Element, path: Path, verdict: Verdict | UserError) -> None:
    names = {"classname": _fit(str(path.parent)), "name": _fit(path.name)}
    if isinstance(verdict, UserError):
        case = ElementTree.SubElement(suite, "testcase", {**names, "time": "0.000000"})
        _tell(case, "error", verdict.message, str(verdict))
        return
    case = ElementTree.SubElement(suite, "testcase", {**names, "time": f"{verdict.seconds:.6f}"})
    if not verdict.passed:
        first = verdict.failed[0]
        _tell(case, "failure", f"line {first.place.line}: {first.text}", report(verdict))


def _tell(case: ElementTree.Element, kind: str, message: str, text: str) -> None:
    ElementTree.SubElement(case, kind, {"message": _fit(message), "type": kind}).text = _fit(text)


def _fit(text: str) -> str:
    """A text with what XML 1.0 cannot hold replaced by its escape."""
    return "".join(c if c.isprintable() or c in "\n\t" else _escape(c) for c in text)


def _escape(character: str) -> str:
    return character.encode("unicode_escape", "surrogatepass").decode("ascii")
