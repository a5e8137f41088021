"""Parsing against forms made for the test."""

from typing import Any

import pytest

from emu85.console.grammar import Form, parse
from emu85.console.kinds import Context
from emu85.errors import UserError


def _nothing(*_: Any) -> None:
    """Parsing alone is tested."""


FORMS = [
    Form(usage, "", _nothing)
    for usage in (
        "step [COUNT]",
        "step instruction [COUNT]",
        "step past",
        "run for TIME",
        "run until ADDRESS",
        "pace RATE [by CYCLE]",
        "put REGISTER BYTE",
        "put mem ADDRESS BYTE...",
        "mem RANGE",
        "stop CONDITION",
        "stops drop NUMBER",
        "type TEXT",
        "load FILE [at ADDRESS]",
        "ports",
        "speed SPEED",
    )
]
CONTEXT = Context(symbols={"Tick": 0x0120, "ADD": 0x0200}, stops=[1, 3], clock_hz=2_000_000)


def values(line: str) -> dict[str, Any]:
    command = parse(line, FORMS, CONTEXT)
    assert command is not None
    return dict(command.values)


@pytest.mark.parametrize(
    ("line", "usage", "expected"),
    [
        ("step", "step [COUNT]", {}),
        ("STEP 20", "step [COUNT]", {"count": 20}),
        ("step 14H", "step [COUNT]", {"count": 20}),
        ("step instruction 3", "step instruction [COUNT]", {"count": 3}),
        ("step past", "step past", {}),
        ("run for 2 ms", "run for TIME", {"time": 4000}),
        ("run for 2ms", "run for TIME", {"time": 4000}),
        ("run for 1.5 us", "run for TIME", {"time": 3}),
        ("run for 5000 T", "run for TIME", {"time": 5000}),
        ("run until 0150", "run until ADDRESS", {"address": 0x150}),
        ("run until tick+1A", "run until ADDRESS", {"address": 0x13A}),
        ("run until 0ADD", "run until ADDRESS", {"address": 0xADD}),
        ("run until ADD", "run until ADDRESS", {"address": 0x200}),
        ("run until 00000001010B", "run until ADDRESS", {"address": 10}),
        ("pace 0.5 by of", "pace RATE [by CYCLE]", {"rate": 0.5, "cycle": "OF"}),
        ("put a 3E", "put REGISTER BYTE", {"register": "A", "byte": 0x3E}),
        ("put A 376Q", "put REGISTER BYTE", {"register": "A", "byte": 0xFE}),
        ("put mem 8000 3E 05", "put mem ADDRESS BYTE...", {"address": 0x8000, "byte": [0x3E, 5]}),
        ("mem 8000-80FF", "mem RANGE", {"range": (0x8000, 0x80FF)}),
        ("stops drop 3", "stops drop NUMBER", {"number": "3"}),
        (r"type a  b\r # c", "type TEXT", {"text": r"a  b\r"}),
        (r"type ' #1 '", "type TEXT", {"text": "' #1 '"}),
        ("stop on MW at 8004 # why", "stop CONDITION", {"condition": "on MW at 8004"}),
        ("speed off", "speed SPEED", {"speed": None}),
        ("speed 10", "speed SPEED", {"speed": 10.0}),
    ],
)
def test_lines_that_are_right(line: str, usage: str, expected: dict[str, Any]) -> None:
    command = parse(line, FORMS, CONTEXT)
    assert command is not None
    assert command.form.usage == usage
    assert command.values == expected


@pytest.mark.parametrize("line", ["", "  ", "# nothing"])
def test_lines_that_ask_for_nothing(line: str) -> None:
    assert parse(line, FORMS, CONTEXT) is None


@pytest.mark.parametrize(
    ("line", "column", "part"),
    [
        ("stepp", 1, "did you mean 'step'"),
        ("step instrution", 6, "did you mean 'instruction'"),
        ("step -1", 6, "a count"),
        ("step 0", 6, "a count"),
        ("step 3 4", 8, "more than this word takes"),
        ("run for", 8, "a time"),
        ("run for 2", 9, "has no unit"),
        ("run for 2 weeks", 9, "not a unit"),
        ("run for 0 ms", 9, "less than a T-state"),
        ("run until 12345", 11, "out of range"),
        ("run until tikc", 11, "did you mean 'Tick'"),
        ("run until tick+zz", 11, "not an offset"),
        ("pace 61", 6, "0.5 to 60"),
        ("pace 4 on OF", 8, "'by'"),
        ("pace 4 by OP", 11, "a cycle type"),
        ("put Q 3E", 5, "a register"),
        ("put A 3E3", 7, "out of range"),
        ("put mem 8000", 13, "a byte"),
        ("put mem 8000 3E xx", 17, "a byte"),
        ("mem 80FF-8000", 5, "ends before it begins"),
        ("stops drop 2", 12, "1, 3"),
        ("stop on MV at 8004", 9, "cycle type"),
        ("stop on MW at 80G4", 15, "an address"),
        ("stop", 5, "a condition"),
        ("load 'x", 6, "quote"),
        ("ports 12", 7, "more than this word takes"),
        ("speed reel", 7, "did you mean 'real'"),
        ("speed -1", 7, "a factor"),
    ],
)
def test_mistakes_are_placed_and_explained(line: str, column: int, part: str) -> None:
    with pytest.raises(UserError) as caught:
        parse(line, FORMS, CONTEXT)
    assert caught.value.place.column == column
    assert part in str(caught.value)


def test_a_button_of_a_board_without_one_is_told_so() -> None:
    forms = [Form("press BUTTON", "", _nothing)]
    with pytest.raises(UserError, match="no key or button"):
        parse("press key", forms, CONTEXT)


def test_values_are_of_the_right_types() -> None:
    assert values("step 7") == {"count": 7}
    assert str(values("load a.hex at 100")["file"]) == "a.hex"
