"""Whatever stands in a rehearsal, only UserError comes out of reading it."""

from __future__ import annotations

import contextlib
from functools import cache
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from emu85.errors import UserError
from emu85.machine import Machine
from emu85.rehearsal.check import check
from emu85.rehearsal.lines import FORMS
from emu85.rehearsal.performance import Performance
from emu85.rehearsal.script import KEYS, parse_script
from emu85.rehearsal.stage import set_up

WORDS = sorted({word.strip("[]") for form in FORMS for word in form.usage.split()})
SPELLED = [
    *WORDS,
    *("0", "5", "T", "ms", "8000", "3x", '"a*"', '"\\"', "'", "#", "A", "HL", "power", "usart"),
    *("on", "MW", "include", "step"),
]
LINES = st.lists(st.lists(st.sampled_from(SPELLED), max_size=7).map(" ".join), max_size=8)
HEADINGS = st.lists(
    st.tuples(st.sampled_from([*KEYS, "x"]), st.sampled_from(["slate", "slate.asm", "5", "\0"])),
    max_size=4,
).map(lambda pairs: [f"{key}: {value}" for key, value in pairs])
HEADING = ["rehearsal: any", "board: gantry"]


@cache
def machine() -> Machine:
    return set_up(parse_script("\n".join(HEADING), Path("any")))


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200) | HEADINGS.map("\n".join))
@example("rehearsal: x\nboard: \0")
@example("rehearsal: x\nboard: slate\nfirmware: \0")
@example("rehearsal: x\nboard: slate\nfirmware: " + "x" * 5000)
@example("rehearsal: x\nboard: " + "x" * 5000)
@example("rehearsal: x\nboard: slate\ninclude '\0'")
@example("rehearsal: x\nboard: slate\ninclude " + "x" * 5000)
@example("rehearsal: x\nboard: slate\ninclude .")
def test_a_heading(text: str) -> None:
    with contextlib.suppress(UserError):
        set_up(parse_script(text, Path("any")))


@settings(max_examples=400, deadline=None)
@given(LINES | st.text(max_size=100).map(lambda text: [text]))
@example(["at 1 " * 3000])
@example(["see A 1 " * 3000])
@example(['hear "' + "*a" * 3000 + '"'])
@example(["see 9999999999999 T since power"])
@example(["at 99999999999999999999999"])
def test_lines(lines: list[str]) -> None:
    with contextlib.suppress(UserError):
        script = parse_script("\n".join(HEADING + lines), Path("any"))
        check(script, Performance(script, machine()).context)


@settings(max_examples=60, deadline=None)
@given(LINES)
@example(["see mem FFFF 0 0"])
@example(["at 5", "at 4 step"])
@example(["mark T", "see 1 T from T to power"])
@example(["load 'x\0'"])
def test_what_can_be_read_can_be_performed(lines: list[str]) -> None:
    with contextlib.suppress(UserError):
        script = parse_script("\n".join([*HEADING, "limit: 1 ms", *lines]), Path("any"))
        performance = Performance(script, machine())
        check(script, performance.context)
        list(performance.steps())
