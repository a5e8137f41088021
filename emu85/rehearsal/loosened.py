"""Lines that the console showed, as patterns that also meet what another build shows.

T-states, addresses and the levels of single lines move when a byte of code is added
somewhere; types of machine cycles, data, names and mnemonics are what somebody looks for.
How long the computer took is no part of any expectation.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from emu85.rehearsal.patterns import quoted

_MEASURED = re.compile(r"(?<=, in )\d+(?= ms\b)")
"""Wall time, which no two runs have in common."""
_MOVES = re.compile(
    r"^\s*\d+(?= [A-Z]{2,}\s)"  # the T-state of a row of the trace
    r"|^(?:PC +)?[0-9A-F]{4}  (?:[0-9A-F]{2} )+ *"  # address and bytes of an instruction
    r"|(?<=T-state )\d+"
    r"|(?<=0 of )\d+(?= machine)"
    r"|\d+(?= older)"
    r"|\b\d+(?= T(?:-states?)?\b)"
    r"|\b[01]{3} [01]{8}\b"  # lines of a row of the trace
    r"|\b0?[0-9A-F]{4}H?(?: [0-9A-F]{4})*\b"  # addresses, and bytes as nibbles
)
_WILD = re.compile(r"(?<!\\)\*[ *]*\*")
_WIDE = re.compile(r"  +\*")


def exact_patterns(lines: Iterable[str]) -> Iterator[str]:
    """Patterns in quotes that these lines alone meet; blank lines are left out."""
    return _patterns(lines, _MEASURED)


def loose_patterns(lines: Iterable[str]) -> Iterator[str]:
    """The same, but what moves from build to build may be anything."""
    return _patterns(lines, re.compile(f"{_MEASURED.pattern}|{_MOVES.pattern}"))


def _patterns(lines: Iterable[str], varies: re.Pattern[str]) -> Iterator[str]:
    for line in lines:
        text = line.strip()
        if not text:
            continue
        kept = varies.split(text)
        pattern = _WILD.sub("*", "*".join(quoted(piece)[1:-1] for piece in kept))
        pattern = _WIDE.sub(" *", pattern)
        if pattern.strip("* "):
            yield f'"{pattern}"'
