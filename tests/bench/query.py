"""Questions to a full trace of a million records."""

from __future__ import annotations

import io
from collections.abc import Iterator

from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.machine import Machine
from emu85.stops import find, parse
from tests.bench.clock import best
from tests.bench.report import Row

_MOST = 50
_RECORDS = 1_000_000

CONDITIONS = (
    "on MW at A000-A0FF",
    "on OF at 0000-1FFF data C9",
    "on MR outside A000-BFFF",
    "on any data 3x",
    "on IOR,IOW at 10-19",
    "on any with SOD rises",
    "when RST 7.5 rises",
    "on MW after 5 then OF at 003C",
    "on OF data D3 then IOW at 18 then MW",
    "on OF at hi 00",
)


def query() -> Iterator[Row]:
    """Each condition over the trace of the tide-gauge logger; the slowest counts."""
    board = Machine.from_board("saltmarsh", trace=_RECORDS)
    board.load(board.board.firmware or "")
    while board.trace.forgotten < _RECORDS // 3:
        board.run(seconds=0.5)
    records = board.trace.all()
    asked = {text: _milliseconds(board, text, records) for text in CONDITIONS}
    slowest = max(asked, key=lambda text: asked[text])
    yield Row(
        "a question to a million records, slowest", asked[slowest], "ms", _MOST, True, slowest
    )
    yield Row("  the same, mean of ten kinds", sum(asked.values()) / len(asked), "ms")
    session = Session(board, PlainScreen(io.StringIO(), width=120))
    words = {text: best(lambda t=text: session.execute(f"find {t}"), 5) for text in CONDITIONS}  # type: ignore[misc]
    slowest = max(words, key=lambda text: words[text])
    yield Row("'find' at the console, slowest", words[slowest] * 1000, "ms", _MOST, True, slowest)


def _milliseconds(board: Machine, text: str, records: object) -> float:
    condition = parse(text, symbols=board.symbols)
    return best(lambda: find(condition, records), 5) * 1000  # type: ignore[arg-type]
